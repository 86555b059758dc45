"""The words of the decision core: events come in, commands go out, all frozen.

Nothing here reads a clock.  `now` is monotonic seconds, handed to `step` beside each
event; wall time belongs to the shell, which stamps the log and the phone's texts.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, IntEnum
from types import MappingProxyType
from typing import Any

EMPTY: Mapping[str, Any] = MappingProxyType({})


class Priority(IntEnum):
    """How much an alarm asks of a sleeper; a larger number asks more."""

    FAULT = 1
    """Something does not work: one chirp a minute."""
    LOW = 2
    """Told, not woken."""
    MEDIUM = 3
    """Wake and ventilate."""
    HIGH = 4
    """Get up, ventilate, get out."""

    @property
    def word(self) -> str:
        """The word in logs and on MQTT."""
        return self.name.lower()

    @property
    def signal(self) -> str:
        """The signal word for people."""
        return SIGNALS[self]


SIGNALS: Mapping[Priority, str] = MappingProxyType(
    {
        Priority.HIGH: "DANGER",
        Priority.MEDIUM: "WARNING",
        Priority.LOW: "CAUTION",
        Priority.FAULT: "FAULT",
    }
)
"""The three of ANSI Z535.6 and ISO 3864-2 (unverified), and one for what is broken."""


class AlarmState(Enum):
    """The states of ISA-18.2 / IEC 62682, spelled as in logs and on MQTT."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched-unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched-acknowledged"
    SHELVED = "shelved"
    SUPPRESSED = "suppressed"
    OUT_OF_SERVICE = "out-of-service"

    # Members are single, so identity serves; Enum's own hash is Python code, and it
    # is asked some hundred times a tick.
    __hash__ = object.__hash__


# --- events ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Air:
    """What the parts gave since the last step: one event a tick, empty ones too."""

    values: Mapping[str, float]
    """By series: `o2_pct`, or `o2_pct__cell` where several parts give one channel.
    Only what is new; a series that gave nothing is absent."""
    at_least: frozenset[str] = frozenset()
    """Series at full scale: the true value is this or more."""
    doubtful: frozenset[str] = frozenset()
    """Series whose part works outside its range, or is still warming up: such a
    value may raise an alarm, and never clears one."""


@dataclass(frozen=True, slots=True)
class SourceFault:
    """A part, an output or the monitor itself has a fault, or a changed one."""

    source: str
    """The part's config name, or `mqtt`, `log`, `buzzer`, `clock`, `loop`, `host`."""
    kind: str
    """One of `absent checksum framing short wrong-part not-ready not-measured
    out-of-range cell-dead port-missing no-permission bus-stuck babbling blocked
    queue-full not-writable out-of-reach refused clock-stepped late too-hot
    under-volted not-made not-taken restart-needed port-busy chattering failed
    unwatched unproved altered unwritable wire-loose wire-open wire-short`; new kinds
    need words, nothing else."""
    text: str
    """One sentence: which part, what it did, what to do."""


@dataclass(frozen=True, slots=True)
class SourceOk:
    """The source works again, shown by a good reading or a completed write."""

    source: str


class ActKind(Enum):
    """What a person or phone may do."""

    ACKNOWLEDGE = "acknowledge"
    RESET = "reset"
    """Unlatch an acknowledged alarm whose condition is gone."""
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out-of-service"
    RETURN_TO_SERVICE = "return-to-service"
    MARK = "mark"
    TEST = "test"
    """Sound the buzzer's test; never hides a standing sound."""
    BUMP_TEST = "bump-test"
    """Gas or breath comes to the parts on purpose: no phone is told for a while."""
    BUMP_END = "bump-end"
    """It is over."""
    TRIAL = "trial"
    """The heater burns with nobody inside; `text` says what is tried, `for_s` how long
    at most, `alarm` which alarm ends it."""
    TRIAL_END = "trial-end"
    """It is over."""


@dataclass(frozen=True, slots=True)
class Act:
    """Something a person did, by button, phone, socket or command."""

    kind: ActKind
    alarm: str = ""
    """Alarm id; '' means all that stand."""
    by: str = "button"
    """Where it came from: `button`, `phone`, `socket`."""
    text: str = ""
    """A mark's words, or a reason."""
    for_s: float = 0.0
    """Wanted shelving time; bounded by the alarm's own limit."""
    age_s: float = 0.0
    """How long before `now` it was done: an answer that took a minute to arrive is
    none to what has sounded meanwhile."""

    @property
    def is_outside(self) -> bool:
        """Whether it came from a phone, which need not be in the cabin."""
        return self.by == "phone"


Event = Air | SourceFault | SourceOk | Act


# --- what a rule says --------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Cause:
    """One of several things that a condition may stand for, like a closed contact."""

    series: str
    since_s: float
    """When it began: what ends and begins again is another cause."""
    is_lost: bool = False
    """Whether nothing tells any more if it goes on."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a rule says of the present; None in its place means 'cannot tell'."""

    priority: Priority | None
    """The priority that the condition now warrants; None: the condition is absent."""
    hold: Priority | None = None
    """The highest priority that may stand on, though it would not be raised now:
    the dead-band.  Not below `priority`."""
    facts: Mapping[str, float | str] = field(default_factory=lambda: EMPTY)
    """Numbers for the alarm's sentence, keys with units."""
    evidence: Mapping[str, Any] = field(default_factory=lambda: EMPTY)
    """What it was judged on, for the log and the morning page."""
    severity: float = 0.0
    """A measure that grows as things get worse, in the rule's own unit: an
    acknowledged alarm sounds again when it has grown by the rule's `again_step`."""
    wording: str = ""
    """Which of the alarm's sentences to use, where it has more than one."""
    topic: str = ""
    """What it is about, where one alarm has several: another topic rings again."""
    quiet_s: float = float("inf")
    """The longest quiet time that an answer may buy while things are so; 0: none."""
    causes: frozenset[Cause] = frozenset()
    """What it stands for, where an answer holds for no more than was there then."""


# --- commands ----------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Record:
    """Write one line to the rolling log."""

    event: str
    """`air alarm fault mark act bump-test trial estimate start stop`."""
    fields: Mapping[str, Any] = field(default_factory=lambda: EMPTY)
    urgent: bool = False
    """Sync at once (alarms, faults, acts); else with the next batch."""


@dataclass(frozen=True, slots=True)
class Transition:
    """An alarm changed its state or its priority.

    The shell logs it (urgent), keeps it for the next start, and publishes it retained.
    """

    alarm: str
    """Id; an instance stands after a slash: `sensor-stale/bunk-o2`."""
    state: AlarmState
    was: AlarmState
    priority: Priority
    text: str
    since_s: float
    """`now` at which the condition was first raised, in this stand."""
    first_up: bool = False
    """The first to ring of those that stand now."""
    evidence: Mapping[str, Any] = field(default_factory=lambda: EMPTY)

    def spelled(self, **since: Any) -> dict[str, Any]:
        """Return what log, phone and replay all tell of it, fit for JSON.

        Args:
            since: the moment of `since_s` as the teller writes it, if at all.
        """
        return {
            "alarm": self.alarm,
            "state": self.state.value,
            "was": self.was.value,
            "priority": self.priority.word,
            "text": self.text,
            **since,
            "first_up": self.first_up,
        }


@dataclass(frozen=True, slots=True)
class Sound:
    """What the buzzer plays from now on, until the next `Sound`."""

    pattern: str
    """`quiet chirp three-pulse temporal-four`; `temporal-three`, which is fire, only
    where the config asks for it beside a smoke alarm."""
    alarm: str = ""
    """The alarm that rules the sound."""
    louder: bool = False
    """Unanswered for long: drive the second sounder too."""


@dataclass(frozen=True, slots=True)
class Alert:
    """Tell the phone, in one sentence."""

    alarm: str
    priority: Priority
    text: str
    escalation: int = 0
    """0 first telling; 1 told again (2 min unanswered); 2 the second topic (5 min)."""
    expiry_s: float = 3600.0


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the trend says, once a minute and on change; keys as in the log."""

    fields: Mapping[str, Any] = field(default_factory=lambda: EMPTY)


Command = Record | Transition | Sound | Alert | Estimate
