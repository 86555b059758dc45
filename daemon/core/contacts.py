"""What contacts tell: which ring, which rest, and whether that is known at all.

The word of a certified alarm counts until it takes it back: a line that is lost while
it sounds leaves it ringing.  That it rests counts only while all its lines are heard.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Cause, Priority, Verdict
from cabinvigil.drivers.kit.quantity import GUARDS, split_channel

QUANTITY = "contact"
DOOR = "door"
"""Who marks the moment at which a door opens."""
TELLS = 1.0
"""From here a contact shows what it is there for."""
OPENED_S = 60.0
"""A door that has moved explains a leap of the air for so long: cold air has mixed by
then, or the part has shown its next values (our choice)."""
URGENT: Mapping[str, tuple[tuple[str, float], ...]] = MappingProxyType(
    {QUANTITY: (("above", TELLS),)}
)
"""Past this a reading is judged at once."""
_FINE = Verdict(None)
WORDS = {
    "smoke": "smoke alarm",
    "gas": "gas alarm",
    "co": "carbon monoxide alarm",
    "door": "door contact",
    "bilge": "float",
}
"""What people call each."""


@dataclass(frozen=True, slots=True)
class Told:
    """What the contacts of one kind tell."""

    closed: tuple[str, ...]
    """The series that tell of something, as far as is known."""
    is_known: bool
    """Whether all the others are known to rest."""


def means_of(key: str) -> str:
    """Return what the contact of a series tells of; '' where it is no contact."""
    found = split_channel(key)
    return "" if found is None or found[0].name != QUANTITY else found[1]


def is_guard(key: str) -> bool:
    """Return whether a series is a contact that guards people."""
    return means_of(key) in GUARDS


def told_by(history: History, means: str) -> Told | None:
    """Return what the contacts of one kind tell; None where there is none."""
    keys = history.layout.index(QUANTITY, means)
    if not keys:
        return None
    closed = tuple(key for key in keys if history.series[key].value >= TELLS)
    rest = [history.fresh(key) for key in keys if key not in closed]
    is_known = all(series is not None and not series.doubtful for series in rest)
    return Told(closed, is_known)


def judge_contacts(history: History, means: str, priority: Priority) -> Verdict | None:
    """Judge whether any contact of one kind tells of something.

    Returns:
        None where none is known to, and not all are known to rest; or there is none:
        what a contact told that is taken away, it has not taken back.
    """
    told = told_by(history, means)
    if told is None:
        return None
    if not told.closed:
        return _FINE if told.is_known else None
    latest = max(told.closed, key=lambda key: history.series[key].changed_s)
    facts: dict[str, float | str] = {}
    if len(history.layout.index(QUANTITY, means)) > 1:
        facts["part"] = place_of(history, latest)
    return Verdict(
        priority,
        priority,
        facts,
        evidence={"series": latest, "closed": len(told.closed)},
        severity=float(len(told.closed)),
        topic=str(facts.get("part", "")),
        causes=frozenset(
            Cause(key, history.series[key].changed_s, not history.is_heard(key))
            for key in told.closed
        ),
    )


def has_door_moved(history: History) -> bool:
    """Return whether a door has opened or shut just now."""
    return any(
        history.now - history.series[key].changed_s < OPENED_S
        for key in history.layout.index(QUANTITY, DOOR)
    )


def opened(history: History, before: History) -> tuple[str, ...]:
    """Return the doors that have just opened, after a while shut.

    One that is first heard has not, and one that swings is told once.
    """
    return tuple(
        key
        for key in history.layout.index(QUANTITY, DOOR)
        if before.series[key].value < TELLS <= history.series[key].value
        and history.now - before.series[key].changed_s >= OPENED_S
    )
