"""All that the core knows between two steps; frozen."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.dose import Dose
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import EMPTY, Priority, Sound
from cabinvigil.daemon.core.notification import EXPIRY_S, Notification, plain_line
from cabinvigil.daemon.core.setup import Setup


@dataclass(frozen=True, slots=True)
class BumpTests:
    """The bump test that runs, and when the last ones began."""

    until_s: float = float("-inf")
    """When it ends at the latest; long ago: none runs."""
    began_s: tuple[float, ...] = ()
    rang: frozenset[str] = frozenset()
    """What began to sound in it, and was told to no phone."""
    answered: frozenset[str] = frozenset()
    """What was answered in the last one, and has not been over or sounded since."""
    trend_from_s: float = float("-inf")
    """Until then the parts show it, or come back from it: no trend of the air."""


@dataclass(frozen=True, slots=True)
class Trial:
    """The trial that is open: nobody is inside."""

    text: str
    """What is tried, in the words of whoever began it."""
    until_s: float
    """When it ends at the latest."""
    alarm: str = ""
    """The alarm that ends it as soon as it stands; '' is none."""
    at_its_time: str = "time"
    """Why it ends then."""
    dose: Dose | None = None
    """What people had breathed as it began; None: not known to differ."""


@dataclass(frozen=True, slots=True)
class State:
    """What is known, the state of every alarm, and what has been said of it."""

    setup: Setup
    now: float
    """When the last event came; `history.now` is when the air was last read."""
    history: History
    standings: Mapping[str, AlarmStatus]
    trend_state: Any = None
    leaders: Mapping[str, str] = field(default_factory=lambda: EMPTY)
    """The series that the trend follows, by quantity."""
    trend_s: float = float("-inf")
    """When the estimate was last renewed."""
    estimated_s: float = float("-inf")
    """When the estimate was last told."""
    sound: Sound = field(default_factory=lambda: Sound("quiet"))
    """What the buzzer was last asked to play."""
    before_s: float = float("-inf")
    """When readings last came, were it an empty tick; acts and faults do not count."""
    all_clear_owed: frozenset[str] = frozenset()
    """The alarms on the air that sounded gravely and whose all-clear is still owed."""
    sent_out: frozenset[str] = frozenset()
    """Those of them that were a danger: only these sent people outside."""
    told: Notification = field(default_factory=Notification)
    """What the phones were told, and what waits to be told."""
    answers_s: tuple[float, ...] = ()
    """When somebody last answered, to find a button that chatters."""
    quieted_s: Mapping[str, float] = field(default_factory=lambda: EMPTY)
    """When an answer from the cabin last quieted an alarm: it is taken back then."""
    tested_s: float = float("-inf")
    """When the sounder was last tested."""
    bump: BumpTests = field(default_factory=BumpTests)
    trial: Trial | None = None
    airing_since_s: float | None = None
    """Since when the air has been known and clear of them."""

    def with_line(
        self,
        case: str,
        facts: Mapping[str, float | str],
        expiry_s: float = EXPIRY_S[Priority.LOW],
    ) -> "State":
        """Return it with one more line that waits for the phones.

        Args:
            case: the case of the message file, such as `all-clear`.
            facts: what its sentence may say.
            expiry_s: how long the line is worth telling, in seconds.
        """
        line = plain_line(self.setup, case, facts, expiry_s)
        return replace(self, told=replace(self.told, lines=(*self.told.lines, line)))
