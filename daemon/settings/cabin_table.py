"""The `[cabin]` of a file by itself: a cabin can be planned before any part is bought.

Every other table is left unread: whether a monitor could run with them is `config`'s to
say.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from cabinvigil.daemon.settings.config import (
    NAMED,
    NO_CONFIG,
    TABLES,
    unknown_tables,
)
from cabinvigil.daemon.settings.errors import ConfigError, Mistake, one_line
from cabinvigil.daemon.settings.read import read_toml
from cabinvigil.daemon.settings.read_table import shape_rest
from cabinvigil.daemon.settings.tables import table_mistakes
from cabinvigil.daemon.settings.values import Cabin
from cabinvigil.daemon.settings.with_units import in_our_units, units_in

NAMELESS = "cabin"
"""Stands in for a name that is not given: nothing is sent from a plan."""


class CabinTable(NamedTuple):
    """What a file says of its cabin."""

    cabin: Cabin
    read_as: Mapping[str, str]
    """By key: what its number, that came with a unit, is in ours."""


def load_cabin(path: Path | str) -> CabinTable:
    """Read the cabin of a file, be it a whole config or a bare `[cabin]`.

    Raises:
        ConfigError: with every mistake of that table, each table that no config has,
            and each key that stands in none.
    """
    path = Path(path)
    file = one_line(str(path))
    plain = read_toml(path, NO_CONFIG)
    mistakes: list[Mistake] = []
    unknown_tables(plain, file, (*TABLES, *NAMED), mistakes)
    table = plain.get("cabin")
    if table is None and not mistakes:
        mend = "add it, with what you know of the cabin, such as `volume_m3 = 8`"
        mistakes.append(Mistake(file, "", "holds no table [cabin]", mend))
    read_as: dict[str, str] = {}
    if isinstance(table, Mapping):
        table = {"name": NAMELESS, **table}
        for key, value in table.items():
            told: list[str] = []
            table[key] = in_our_units(value, told, f"cabin.{key}")
            read_as |= dict.fromkeys([key] if told else [], "; ".join(told))
    cabin, wrong = None, frozenset[str]()
    if table is not None:
        cabin, wrong = shape_rest(Cabin, table, file, "cabin", mistakes)
    mistakes += table_mistakes({"cabin": cabin}, file, {"cabin": wrong})
    if mistakes or cabin is None:
        raise ConfigError(mistakes, units_in(plain))
    return CabinTable(cabin, read_as)
