"""All that the core knows between two steps; frozen."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import EMPTY, Sound
from cabinvigil.daemon.core.notification import Notification
from cabinvigil.daemon.core.setup import Setup


@dataclass(frozen=True, slots=True)
class State:
    """What is known, where every alarm stands, and what has been told of it."""

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
    """The alarms on the air that rang gravely and whose all-clear is still owed."""
    told: Notification = field(default_factory=Notification)
    """What the phones were told, and what waits to be told."""
    answers_s: tuple[float, ...] = ()
    """When somebody last answered, to find a button that chatters."""
    tested_s: float = float("-inf")
    """When the sounder was last tested."""
    airing_since_s: float | None = None
    """Since when the air has been known and clear of them."""
