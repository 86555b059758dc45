"""All that the core knows between two steps; frozen."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.core.alarm_status import AlarmStatus
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Sound
from cabinvigil.daemon.core.setup import Setup


@dataclass(frozen=True, slots=True)
class State:
    """What is known, where every alarm stands, and what has been told of it."""

    setup: Setup
    history: History
    standings: Mapping[str, AlarmStatus]
    trend_state: Any = None
    trend_s: float = float("-inf")
    """When the estimate was last renewed."""
    estimated_s: float = float("-inf")
    """When the estimate was last told."""
    sound: Sound = field(default_factory=lambda: Sound("quiet"))
    """What the buzzer was last asked to play."""
    before_s: float = float("-inf")
    """When readings last came, were it an empty tick; acts and faults do not count."""
    raised: tuple[float, ...] = ()
    """The last raises of any alarm, for the flood measure."""
    all_clear_owed: frozenset[str] = frozenset()
    """The alarms on the air that rang gravely and whose all-clear is still owed."""
    airing_since_s: float | None = None
    """Since when the air has been known and clear of them."""
