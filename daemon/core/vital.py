"""What a sleeper cannot be without a watch over: oxygen, CO, and wired alarms.

Silence is never good news: a part that is lost, in whatever way, wakes people where
nothing else gives what it measured.  Every rule on parts weighs a loss here, so that a
part which stands still or reads what cannot be weighs as much as one that is silent.
"""

from dataclasses import dataclass

from cabinvigil.daemon.core.contacts import WORDS, is_guard, means_of
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Priority
from cabinvigil.drivers.kit.quantity import VITAL, is_breathed, split_channel

SEEN_TOGETHER = ("o2_pct", "co2_ppm", "co_ppm")
"""While one of these is watched, a burner that goes wrong is still seen, if later."""
LOST_WAKES_S = 60.0
"""A vital quantity that no part gives any more wakes people within this: the longest
age of a part that gives one, a retry's patience, and a tick of ten seconds (README,
'Asleep')."""
STILL_WAKES_S = 900.0
"""... that stands still, or that only doubtful parts give, within this."""
DOUBT_COUNTS_S = 300.0
"""A fellow in doubt for no longer watches still: with slow readings a living part may
repeat a value now and then, and warms up after each restart.  Longer than any of these,
and with the longest time to such a doubt well within 15 minutes (our choice)."""
ALONE = "alone"
"""The wording of a verdict on the last part that watched a vital quantity."""

UNHEARD = "unheard"
"""The wording of a verdict on a certified alarm, or a float, that is heard no more."""


@dataclass(frozen=True, slots=True)
class Loss:
    """What the loss of a series weighs."""

    priority: Priority
    wording: str
    """`ALONE` where nothing else watches the quantity, else ''."""
    text: str
    """The quantity in words."""


def quantity_name(key: str) -> str:
    """Return the quantity of a series; '' where the word is no channel."""
    found = split_channel(key)
    return "" if found is None else found[0].name


def is_vital(key: str) -> bool:
    """Return whether a series guards people: a vital gas they breathe, or an alarm."""
    return is_guard(key) or (quantity_name(key) in VITAL and is_breathed(key))


def loss_of(history: History, key: str) -> Loss:
    """Weigh the loss of a series: whether anything else watches what it gave."""
    found = split_channel(key)
    words = "" if found is None else found[0].words
    quantity = quantity_name(key)
    if is_guard(key):
        means = means_of(key)
        fellows = [one for one in history.layout.index(quantity, means) if one != key]
        if any(map(history.is_trusted, fellows)):
            return Loss(Priority.FAULT, "", words)
        return Loss(Priority.MEDIUM, UNHEARD, WORDS[means])
    if is_vital(key) and not history.is_watched(quantity, key, DOUBT_COUNTS_S):
        return Loss(Priority.MEDIUM, ALONE, words)
    return Loss(Priority.FAULT, "", words)


def gravest_loss(key: str) -> Priority:
    """Return the gravest that the loss of a series can weigh."""
    return Priority.MEDIUM if is_vital(key) else Priority.FAULT


def is_seen_otherwise(history: History, key: str) -> bool:
    """Return whether another gas is still watched where people breathe."""
    own = quantity_name(key)
    return any(history.is_watched(one) for one in SEEN_TOGETHER if one != own)
