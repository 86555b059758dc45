"""What must hold whatever happens: any readings, faults, acts and gaps, in any order.

The oracle is a second, plain book-keeping beside the core: it asks the rules itself
and knows nothing of standings, quiet times or shelves.
"""

import json
import math
from dataclasses import dataclass, field, replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.alarm import ASIDE, IN_ALARM, SOUNDING
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    AlarmState,
    Command,
    Event,
    Priority,
    Sound,
    SourceFault,
    SourceOk,
    Transition,
    Verdict,
)
from cabinvigil.daemon.core.setup import AlarmSpec, Setup
from cabinvigil.daemon.core.snapshot import restore, to_plain
from cabinvigil.daemon.rules import source, stale
from tests.core.scenario import cabin, co_level, o2_low, series
from tests.core.test_dose import co_dose

S, P = AlarmState, Priority
Happened = tuple[float, Event]

SETUP: Setup = cabin(
    o2_low(),
    co_level(ack_s=120.0),
    replace(co_dose(), ack_s=200.0),
    AlarmSpec(
        "sensor-stale/o2_pct",
        "stale",
        stale.Params("o2_pct"),
        stale.judge,
        removable=True,
        about_air=False,
        suppressed_by=("sensor-fault/cell",),
    ),
    AlarmSpec(
        "sensor-fault/cell",
        "source",
        source.Params("cell"),
        source.judge,
        removable=True,
        about_air=False,
    ),
    keys=[series("o2_pct", jump_per_s=1.0), "co_ppm"],
)
SPECS = {spec.id: spec for spec in SETUP.alarms}
NAMES = st.sampled_from(["", "no-such-alarm", *SPECS])

O2 = st.sampled_from([20.9, 20.9, 19.6, 19.4, 19.4, 18.2, 0.0, 58.0, math.nan])
CO = st.sampled_from([0.0, 0.0, 35.0, 80.0, 210.0, 210.0, 900.0, -50.0, math.inf])
KEYS = st.frozensets(st.sampled_from(["o2_pct", "co_ppm"]), max_size=2)
AIR = st.builds(
    Air,
    st.fixed_dictionaries({}, optional={"o2_pct": O2, "co_ppm": CO}),
    st.just(frozenset()),
    st.one_of(st.just(frozenset()), KEYS),
)
ACT = st.builds(
    Act,
    st.sampled_from(ActKind),
    NAMES,
    st.sampled_from(["button", "phone", "socket"]),
    st.just(""),
    st.sampled_from([0.0, 60.0, 1e9, math.nan, -1.0]),
)
FAULT = st.sampled_from([SourceFault("cell", "absent", "gone"), SourceOk("cell")])
GAP = st.sampled_from([0.0, 1.0, 10.0, 10.0, 10.0, 30.0, 61.0, 130.0, 400.0])
EVENTS = st.lists(
    st.tuples(GAP, st.one_of(AIR, AIR, AIR, ACT, ACT, FAULT)), max_size=60
)


@dataclass
class Book:
    """What the oracle knows of one alarm."""

    grave_s: float | None = None
    """Since when its rule has said `high`, as far as it could tell."""
    silent_s: float | None = None
    """Since when it has not sounded, though `high`."""
    has_rung: bool = False
    """Whether it has sounded in this spell of `high`."""


@dataclass
class Watched:
    """A run, and the oracle beside it."""

    state: State
    now: float = 0.0
    books: dict[str, Book] = field(default_factory=dict)
    log: dict[str, tuple[AlarmState, Priority]] = field(default_factory=dict)
    said: list[Command] = field(default_factory=list)


def judged(state: State, alarm: str, now: float) -> Verdict | None:
    del now  # the air is judged as it was read last
    spec = SPECS[alarm]
    return spec.judge(spec.params, state.history, state.history.now)


def no_high_is_silenced(run: Watched, alarm: str, verdict: Verdict | None) -> None:
    """A standing `high` is silent for its on-delay and its quiet time, no longer."""
    book = run.books.setdefault(alarm, Book())
    standing = run.state.standings[alarm]
    if verdict is not None and verdict.priority is not P.HIGH:
        run.books[alarm] = Book()
        return
    if verdict is not None and book.grave_s is None:
        book.grave_s = run.now
    if book.grave_s is None or run.now - book.grave_s < SPECS[alarm].on_delay_s:
        return
    if verdict is None and not book.has_rung:
        return  # one reading, then silence: that raises nothing
    if standing.state in SOUNDING:
        book.silent_s = None
        book.has_rung = True
        assert standing.priority is P.HIGH
        assert run.state.sound.pattern == "temporal-four"
        return
    if verdict is None and is_unseen(run, alarm) and standing.state is S.NORMAL:
        run.books[alarm] = Book()  # answered, and no reading could ever end it
        return
    assert standing.state is S.ACKNOWLEDGED
    if book.silent_s is None:
        book.silent_s = run.now
    assert run.now - book.silent_s < SPECS[alarm].ack_s


def is_unseen(run: Watched, alarm: str) -> bool:
    """Return whether nothing has measured for ten minutes what an alarm is about."""
    key = "o2_pct" if alarm == "o2-low" else "co_ppm"
    history = run.state.history
    return history.now - max(history.series[key].at_s, 0.0) >= 600.0


def nothing_clears_unseen(
    run: Watched, alarm: str, was: AlarmState, verdict: Verdict | None
) -> None:
    """Out of alarm only with a verdict of this very moment that says so.

    But for what somebody has answered, and nothing has measured for ten minutes: no
    reading could ever end it.
    """
    to = run.state.standings[alarm].state
    if was in IN_ALARM and to not in IN_ALARM and to not in ASIDE:
        if verdict is None:
            assert is_unseen(run, alarm)
        else:
            assert verdict.priority is None
    if was is S.LATCHED_UNACKNOWLEDGED:
        assert to is not S.NORMAL or verdict is not None


def nothing_is_hidden(run: Watched, alarm: str, verdict: Verdict | None) -> None:
    """What is shown is what stands; the log alone tells where every alarm is."""
    standing = run.state.standings[alarm]
    at = run.log.get(alarm, (S.NORMAL, P.FAULT))
    assert at[0] is standing.state
    if standing.state is not S.NORMAL:
        assert at[1] is standing.priority
    if standing.state in ASIDE and verdict is not None and verdict.priority:
        assert standing.priority_while_shelved is not None
        assert standing.priority_while_shelved <= P.MEDIUM
        if standing.state is not S.SHELVED:
            assert standing.priority_while_shelved <= P.LOW


def shelving_ends(run: Watched, alarm: str) -> None:
    """No shelf without an end, and none longer than the alarm's own."""
    standing = run.state.standings[alarm]
    if standing.state is S.SHELVED:
        assert standing.aside_until_s <= run.now + SPECS[alarm].shelve_s
        assert standing.aside_until_s > run.now


def watch(happened: list[Happened]) -> Watched:
    """Run the core and the oracle over the same events."""
    run = Watched(start(SETUP, 0.0))
    for gap_s, event in happened:
        run.now += gap_s
        before = run.state.standings
        run.state, commands = step(run.state, event, run.now)
        run.said += commands
        for command in commands:
            if isinstance(command, Transition):
                was = run.log.get(command.alarm, (S.NORMAL, P.FAULT))[0]
                assert command.was is was
                run.log[command.alarm] = (command.state, command.priority)
        sounds = [c for c in commands if isinstance(c, Sound) and c.pattern != "test"]
        assert len(sounds) <= 2
        assert not sounds or sounds[-1] == run.state.sound
        for alarm in SPECS:
            verdict = judged(run.state, alarm, run.now)
            no_high_is_silenced(run, alarm, verdict)
            nothing_clears_unseen(run, alarm, before[alarm].state, verdict)
            nothing_is_hidden(run, alarm, verdict)
            shelving_ends(run, alarm)
    return run


@pytest.mark.hazard("silenced-by-answer")
@settings(max_examples=400, deadline=None)
@given(EVENTS)
def test_whatever_happens(happened: list[Happened]) -> None:
    """No `high` is silenced, nothing clears unseen, nothing is hidden."""
    watch(happened)


@settings(max_examples=60, deadline=None)
@given(EVENTS)
def test_the_same_events_give_the_same_commands(happened: list[Happened]) -> None:
    """A replay is the night itself, command for command."""
    first, second = watch(happened), watch(happened)
    assert repr(first.said) == repr(second.said)
    assert repr(first.state) == repr(second.state)


@settings(max_examples=100, deadline=None)
@given(EVENTS, st.sampled_from([None, 0.0, 30.0, 1e6]))
def test_no_restart_silences_or_clears(
    happened: list[Happened], down_s: float | None
) -> None:
    """Killed at any moment: what sounded sounds, what stood stands."""
    run = watch(happened)
    plain = json.loads(json.dumps(to_plain(run.state), allow_nan=False))
    after, lost = restore(SETUP, plain, 5.0, down_s=down_s)
    assert lost == []
    for alarm, standing in run.state.standings.items():
        back = after.standings[alarm]
        if standing.state in SOUNDING:
            assert back.state is standing.state
        if standing.state in IN_ALARM:
            assert back.state in IN_ALARM
            assert back.priority is standing.priority
        if back.state is S.ACKNOWLEDGED:
            assert back.quiet_until_s <= 5.0 + standing.quiet_until_s - run.now
        if standing.priority_while_shelved is not None:
            assert (
                back.stands
                or back.priority_while_shelved is standing.priority_while_shelved
            )
    if run.state.sound.pattern in ("temporal-four", "three-pulse"):
        assert after.sound.pattern in (run.state.sound.pattern, "temporal-four")
