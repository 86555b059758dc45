"""What the oracle is shown of one event: plain values, nothing of the product's own."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from tests.invariants.air import Truth

FAULT, LOW, MEDIUM, HIGH = 1, 2, 3, 4
"""Weights of the four priorities."""
LOUDNESS = {"quiet": 0, "chirp": 1, "three-pulse": 2, "temporal-four": 3}
"""Sounds by what they ask of a sleeper; from 2 on they wake."""
WAKING = 2
VITAL = ("o2_pct", "co_ppm")
"""What a sleeper dies of first: oxygen that is not there, carbon monoxide that is."""
PHONE, SECOND_PHONE = "phone", "second phone"
SILENT_MODES = ("silent", "reported")


@dataclass(frozen=True, slots=True)
class PartView:
    """One part's own quantity, as the oracle knows it."""

    name: str
    quantity: str
    mode: str
    """A word of `parts.MODES`."""
    since_s: float
    """When its mode began, in true time."""
    value: float | None
    """What it gave in this tick."""
    is_full: bool
    """At the end of its range."""
    still_s: float
    """For how long it has shown the same value."""

    @property
    def is_honest(self) -> bool:
        """Return whether it reads the air it is in."""
        return self.mode in ("alive", "doubtful")

    @property
    def is_silent(self) -> bool:
        """Return whether it gives nothing."""
        return self.mode in SILENT_MODES


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm that does not rest."""

    state: str
    priority: int
    hidden: int
    """Its priority while it stands aside; 0: its condition is absent."""
    text: str

    @property
    def is_sounding(self) -> bool:
        """Return whether it asks for sound."""
        return self.state in ("unacknowledged", "latched-unacknowledged")

    @property
    def is_active(self) -> bool:
        """Return whether its condition stands."""
        return self.state in ("unacknowledged", "acknowledged")

    @property
    def is_aside(self) -> bool:
        """Return whether it is shelved, suppressed or out of service."""
        return self.state in ("shelved", "suppressed", "out-of-service")


Alarms = Mapping[str, AlarmView]


@dataclass(frozen=True, slots=True)
class Message:
    """One message to one phone."""

    alarm: str
    priority: int
    phone: str
    text: str


@dataclass(frozen=True, slots=True)
class Act:
    """What a person did."""

    verb: str
    alarm: str
    """'' names all."""
    by: str
    """`button`, `phone` or `socket`."""
    asked_s: float
    """When it was done, which may be long before it arrives."""

    def acknowledges(self, alarm: str) -> bool:
        """Return whether it acknowledges an alarm."""
        return self.verb in ("acknowledge", "reset") and self.alarm in ("", alarm)


@dataclass(frozen=True, slots=True)
class Moment:
    """One event and what came of it."""

    at_s: float
    """True time since the beginning, which goes on while the monitor is down."""
    kind: str
    """`tick act source restart reload fork odd crash end`."""
    tick_s: float
    """How far the readings lie apart."""
    truth: Truth
    parts: tuple[PartView, ...]
    """Of the parts that the config names, for O2, CO and CO2."""
    alarms: Alarms
    before: Alarms
    sound: str
    """What plays now."""
    sound_of: str
    """The alarm that rules it."""
    sound_before: str
    sounds: tuple[str, ...] = ()
    """Every pattern that was asked for in this event, in order."""
    messages: tuple[Message, ...] = ()
    moves: tuple[tuple[str, str, str], ...] = ()
    """Each transition reported: alarm, from, to."""
    bump_tests: tuple[str, ...] = ()
    """`begun`, `ended`: what is recorded of bump tests."""
    act: Act | None = None
    source: tuple[str, str] = ("", "")
    """Whose fault, of which kind; `ok` is its end."""
    blood_pct: float = 0.0
    blood_before_pct: float = 0.0
    is_loose: bool = False
    """The config loosens a guard and was let through."""
    known_alarms: Collection[str] = ()
    """Every alarm that the config has."""
    is_untouched: bool = False
    """Since the start nothing has happened but readings and acts."""
    is_gap_known: bool = True
    """Of a restart: the monitor knows how long it was down."""
    is_natural: bool = False
    """Oxygen, carbon dioxide and vapour have followed from burning and breathing."""
    compared: Mapping[str, str] = field(default_factory=dict)
    """What the machine itself compared: clause to what differed; '' is well."""

    def parts_of(self, quantity: str) -> list[PartView]:
        """Return the parts of a quantity."""
        return [part for part in self.parts if part.quantity == quantity]

    def true(self, quantity: str) -> float:
        """Return the true value of a quantity."""
        value: float = getattr(self.truth, quantity)
        return value
