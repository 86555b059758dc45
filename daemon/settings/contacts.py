"""The contacts of a config: each says what it tells, and has a line of its own."""

from collections.abc import Iterator, Mapping
from typing import Any

from cabinvigil.daemon.settings.errors import BadValueError, Mistake, listed, shown
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers.kit import ads1115
from cabinvigil.drivers.kit.quantity import CONTACT_MEANS
from cabinvigil.drivers.kit.steps import PartInfo

OLDEST_S = 20.0
"""No contact's word may be older: with the patience for a part that missed some answers
(25 s) and a tick of ten, one that is lost still wakes people within a minute (README,
'Asleep'; own choice)."""

Found = Iterator[tuple[str, BadValueError]]

OWN_KEYS = ("active_low", "means")
"""What a contact alone has, beside its line."""


def contact_mistakes(part: PartSettings, info: PartInfo) -> Found:
    """Find what is wrong with a contact, or with a part that has a contact's keys."""
    if info.bus != "line":
        for key in OWN_KEYS:
            if getattr(part, key) is not None:
                mend = "remove it: only a contact has one"
                yield key, BadValueError(f"does not suit a {info.name}", mend)
        return
    if (part.max_age_s or 0.0) > OLDEST_S:
        what = (
            f"is {part.max_age_s:g}: a contact that is lost would be reported too late"
        )
        mend = f"give {OLDEST_S:g} or less; `accept_laxer` does not change that"
        yield "max_age_s", BadValueError(what, mend)
    if part.means is None:
        mend = 'say what it reports, like `means = "smoke"`: one of '
        yield "means", BadValueError("is missing", mend + listed(CONTACT_MEANS))
    if part.place:
        mend = "remove it: `means` says what the contact reports"
        yield "place", BadValueError(f"does not suit a {info.name}", mend)
    if part.bus is None:
        if part.address is not None:
            mend = "name the `bus` of the wire's converter, or remove it"
            yield "address", BadValueError("is given without a bus", mend)
        return
    given = listed(f"0x{one:02x}" for one in ads1115.ADDRESSES)
    mend = f"give that of the ADS1115 that reads the wire: one of {given}"
    if part.address is None:
        yield "address", BadValueError("is missing", mend)
    elif part.address not in ads1115.ADDRESSES:
        what = f"is 0x{part.address:02x}, which no ADS1115 can have"
        yield "address", BadValueError(what, mend)


def clashes(
    parts: Mapping[str, Any], used: Mapping[str, str], file: str
) -> Iterator[Mistake]:
    """Find a contact's line that something else drives or reads.

    Args:
        parts: by name.
        used: the lines of sounder, light and button, and the key that names each.
        file: for sentences.
    """
    for name, part in parts.items():
        line = part.line
        if line is not None and line in used:
            what = f"is {shown(line)}, which {used[line]} has too"
            yield Mistake(file, f"part.{name}.line", what, "give each its own line")
