"""What the phones were told, and what waits to be told; `notifier.py` decides it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.model import EMPTY, Alert, Priority
from cabinvigil.daemon.core.sentences import NEWS, without_act
from cabinvigil.daemon.core.setup import AlarmSpec, Setup, quantity_of

EXPIRY_S: Mapping[Priority, float] = {
    Priority.HIGH: 6 * 3600.0,
    Priority.MEDIUM: 3 * 3600.0,
    Priority.LOW: 3600.0,
    Priority.FAULT: 3600.0,
}
"""How long an undelivered text is still worth telling: a night's half for a danger."""

ANSWERED = "answered"
"""The name of the text that says who answered."""
ALL_CLEAR = "all-clear"
"""The name of the text that it is safe to go back in."""

FIRST, AGAIN, SECOND = 0, 1, 2
"""`Alert.escalation`: told, told again, told to the second phone."""

WINDOW_S = 600.0
ROUNDING_S = 1e-3
"""A text of ten minutes ago counts still, however its moment was rounded."""
TEXTS = 3
"""Three texts in ten minutes to one phone: what a sleeper can take in (our choice; a
tenth of what an operator is expected to, check value `alarm_rate_eemua`); the last of
them is kept for what wakes people."""
AGAIN_S = 840.0
"""A danger that nobody answers is told again every quarter of an hour, with ticks of a
minute too."""
SOFT_AGAIN_S = 3600.0
"""What wakes people and is no danger, every hour."""
JUST_TOLD_S = 60.0
"""Told so lately, it is not repeated because something else was left unanswered."""

FAULT_WAIT_S = 60.0
"""The fault of what an alarm that wakes people hangs on is told when it has stood for a
minute: by then it is over, or that alarm rings and says what to do (own choice, the age
at which silence of the last vital part wakes people)."""
OVER_WAIT_S = 900.0
"""The end of a fault that woke nobody waits for others, to be one line with them (own
choice)."""

Weight = tuple[Priority, bool]
"""How grave: the priority, and whether its further step is reached."""
Told = Mapping[str, tuple[Weight, float]]
"""As how grave each alarm was told, and when."""


@dataclass(frozen=True, slots=True)
class Notification:
    """What the phones were told, and what waits to be told."""

    texts_s: tuple[float, ...] = ()
    """When the phone got its last texts."""
    second_texts_s: tuple[float, ...] = ()
    """When the second phone got its last texts."""
    told: Told = field(default_factory=lambda: EMPTY)
    """By alarm that is open: as how grave it was last told, and when."""
    dangers: Told = field(default_factory=lambda: EMPTY)
    """By alarm, open or over: as how grave a danger it was told lately at most, and
    when."""
    waiting: frozenset[str] = frozenset()
    """Alarms that began to sound and were not told."""
    missed: tuple[str, ...] = ()
    """What was over, or answered, before it could be told."""
    ended: tuple[str, ...] = ()
    """Faults that were told and are over."""
    ended_due_s: float = float("inf")
    """When that is to be told."""
    lines: tuple[Alert, ...] = ()
    """Other texts that wait: who answered, the all-clear."""
    answered_until_s: float = float("-inf")
    """Until when it is so that somebody has answered, and quiet follows."""
    is_second: bool = False
    """Whether the second phone has been told of what is open."""
    is_danger: bool = False
    """Whether a danger was open when this was last looked at."""


def weight(standing: AlarmStatus) -> Weight:
    """Return how grave an alarm is."""
    return standing.priority, standing.is_deep and standing.priority is Priority.HIGH


def softened(told: Told) -> dict[str, tuple[Weight, float]]:
    """Return what was told, as if no danger had been: then the next one is a rise."""
    softer = Priority.MEDIUM, False
    return {alarm: (min(grave, softer), at_s) for alarm, (grave, at_s) in told.items()}


UNSEEN_KINDS = frozenset({"contact", "displaced"})
"""Rules on what no part of ours measures, or measured otherwise: that it has gone
cannot be told, so after one of them no all-clear is given in this run: a person airs
out and looks.  A smoke alarm that falls silent says nothing of embers."""


def over_line(setup: Setup, spec: AlarmSpec, grave: Priority) -> Alert | None:
    """Return the text that an alarm is over after which no all-clear comes.

    Whoever was sent a danger is sent its end; that of any other alarm on the air is
    the all-clear, and this one says that it is none.
    """
    if spec.kind not in UNSEEN_KINDS or grave < Priority.MEDIUM:
        return None
    return plain_line(setup, f"{spec.kind}-over", {})


def is_danger(standing: AlarmStatus) -> bool:
    """Return whether an alarm is a danger, and open."""
    return standing.priority is Priority.HIGH and standing.is_open


FORECASTS = frozenset({"projection", "rate"})
"""Kinds of rules that say what will be: once it is, they have nothing more to say."""


def about(spec: AlarmSpec) -> str:
    """Return what an alarm is about: its quantity, else only itself."""
    return quantity_of(spec) or spec.id


def may_wake(specs: Mapping[str, AlarmSpec], alarm: str) -> bool:
    """Return whether an alarm's cause may soon ring as one that wakes people."""
    return any(
        alarm in spec.suppressed_by and spec.gravest >= Priority.MEDIUM
        for spec in specs.values()
    )


def has_come_true(
    specs: Mapping[str, AlarmSpec], standings: Mapping[str, AlarmStatus], alarm: str
) -> bool:
    """Return whether a forecast's gas is as bad by now as it said."""
    if specs[alarm].kind not in FORECASTS:
        return False
    own = standings[alarm].priority
    return any(
        spec.kind not in FORECASTS
        and about(spec) == about(specs[alarm])
        and standings[spec.id].stands
        and standings[spec.id].priority >= own
        for spec in specs.values()
    )


def ruling_alarm(setup: Setup, standings: Mapping[str, AlarmStatus]) -> str | None:
    """Return the gravest alarm that waits for an answer; None where none wakes people.

    Of equals what is goes before what will be, then the one that has waited longest.
    """
    kinds = {spec.id: spec.kind for spec in setup.alarms}
    open_now = [
        (weight(one), kinds.get(alarm) not in FORECASTS, -one.unanswered_s, alarm)
        for alarm, one in standings.items()
        if one.calls
    ]
    return max(open_now)[-1] if open_now else None


def plain_line(
    setup: Setup,
    case: str,
    facts: Mapping[str, float | str],
    expiry_s: float = EXPIRY_S[Priority.LOW],
) -> Alert:
    """Return a text to the phones that tells of no alarm of its own."""
    text = setup.render(case, Priority.LOW, "", facts)
    return Alert(case, Priority.LOW, text, FIRST, expiry_s)


TRIAL = "trial"
"""The case that says of a text that nobody is inside."""


def of_trial(setup: Setup, alerts: Iterable[Alert]) -> list[Alert]:
    """Return what goes out while nobody is inside: nothing to the second phone.

    A caution asks nothing of an empty cabin: an act would be of no use, or spoil the
    trial.

    Args:
        setup: as the core runs.
        alerts: what would go out.
    """
    return [
        replace(one, text=setup.render(TRIAL, one.priority, "", {"text": _asked(one)}))
        for one in alerts
        if one.escalation != SECOND or one.alarm in setup.at_once
    ]


def _asked(alert: Alert) -> str:
    is_caution = alert.priority is Priority.LOW and alert.alarm not in NEWS
    return without_act(alert.text) if is_caution else alert.text


def has_work(told: Notification) -> bool:
    """Return whether time alone may bring something to tell."""
    return bool(told.told or told.waiting or told.missed or told.ended or told.lines)
