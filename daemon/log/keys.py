"""Which series the air of a log has, found without reading it as JSON."""

import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path

from cabinvigil.daemon.log.reader import Logbook
from cabinvigil.daemon.log.survey import size_of
from cabinvigil.drivers.kit.quantity import QUANTITIES

_KEY = re.compile(
    rf'"((?:{"|".join(QUANTITIES)})(?:_[a-z][a-z0-9]*)?(?:__[A-Za-z0-9._-]+)?)"\s*:'.encode()
)
_AIR = b'"air"'
MOST_KEYS = 1_000
"""Of a folder; more are made up, and would fill a table and no memory."""


def air_keys(
    nights: Iterable[Sequence[Path]], advance: Callable[[float], None]
) -> set[str]:
    """Return the keys of all lines of air: ten times as quick as reading them.

    Args:
        nights: the files of each night.
        advance: takes the bytes that were gone through.
    """
    found: set[bytes] = set()
    for paths in nights:
        with suppress(OSError):  # whoever reads the night tells it
            for raw in Logbook(*paths).raw_lines():
                if _AIR in raw and len(found) < MOST_KEYS:
                    found.update(_KEY.findall(raw))
        advance(size_of(*paths))
    return {key.decode() for key in sorted(found)[:MOST_KEYS]}
