"""What the oracle is shown of one event: plain values, nothing of the product's own."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from tests.invariants.air import Truth

FAULT, LOW, MEDIUM, HIGH = 1, 2, 3, 4
"""Weights of the four priorities."""
LOUD = {"quiet": 0, "chirp": 1, "three-pulse": 2, "temporal-four": 3}
"""Sounds by what they ask of a sleeper; from 2 on they wake."""
WAKING = 2
VITAL = ("o2_pct", "co_ppm")
"""What a sleeper dies of first: oxygen that is not there, carbon monoxide that is."""


@dataclass(frozen=True, slots=True)
class PartView:
    """One part's own quantity, as the oracle knows it."""

    name: str
    quantity: str
    mode: str
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
        """Whether it reads the air it is in."""
        return self.mode in ("alive", "doubtful")


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm that does not rest."""

    state: str
    priority: int
    hidden: int
    """What it would ring as, while it stands aside; 0: its condition is absent."""
    text: str

    @property
    def sounds(self) -> bool:
        """Whether it asks for sound."""
        return self.state in ("unacknowledged", "latched-unacknowledged")

    @property
    def stands(self) -> bool:
        """Whether its condition stands."""
        return self.state in ("unacknowledged", "acknowledged")

    @property
    def is_aside(self) -> bool:
        """Whether it is shelved, suppressed or out of service."""
        return self.state in ("shelved", "suppressed", "out-of-service")


@dataclass(frozen=True, slots=True)
class Text:
    """One text to one phone."""

    alarm: str
    priority: int
    phone: str
    """`first` or `second`."""
    words: str


@dataclass(frozen=True, slots=True)
class Act:
    """What a person did."""

    verb: str
    alarm: str
    by: str
    asked_s: float
    """When it was done, which may be long before it arrives."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One event and what came of it."""

    at_s: float
    """True time since the beginning, which goes on while the watch is down."""
    kind: str
    """`tick act source restart reload fork odd crash end`."""
    tick_s: float
    """How far the readings lie apart."""
    truth: Truth
    parts: tuple[PartView, ...]
    """Of the parts that the config names, for O2, CO and CO2."""
    alarms: Mapping[str, AlarmView]
    before: Mapping[str, AlarmView]
    sound: str
    """What plays now."""
    sound_of: str
    """The alarm that rules it."""
    sound_before: str
    sounds: tuple[str, ...] = ()
    """Every pattern that was asked for in this event, in order."""
    texts: tuple[Text, ...] = ()
    moves: tuple[tuple[str, str, str], ...] = ()
    """Each transition told: alarm, from, to."""
    act: Act | None = None
    source: tuple[str, str] = ("", "")
    """Whose fault, of which kind; `ok` is its end."""
    blood_pct: float = 0.0
    blood_before_pct: float = 0.0
    down_s: float = 0.0
    is_loose: bool = False
    """The config loosens a guard and was let through."""
    known: Collection[str] = ()
    """Every alarm that the config has."""
    is_untouched: bool = False
    """Since the start nothing has happened but readings and acts."""
    is_natural: bool = False
    """Oxygen, carbon dioxide and vapour have followed from burning and breathing."""
    extra: Mapping[str, str] = field(default_factory=dict)
    """What the machine itself compared: clause to what differed; '' is well."""
