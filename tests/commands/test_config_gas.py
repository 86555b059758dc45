"""`cabinvigil config` on unburnt gas: where its parts hang, and how they count."""

from pathlib import Path

import pytest

from cabinvigil.daemon.air.combustion import FUELS
from cabinvigil.daemon.commands.config_told import cautions
from cabinvigil.daemon.settings.checks import FUELS as CONFIG_FUELS
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.registries import Registries, packaged

GAS = """
[part.gas]
kind = "frame9_gas"
port = "/dev/serial/by-path/usb-1"
{more}
pressure_from = "baro"
"""


@pytest.mark.parametrize(
    ("more", "place"),
    [
        ("", "bunk"),
        ('place = "ceiling"', "ceiling"),
        ('place = "floor"', None),
        ('place = "bilge"', None),
    ],
)
def test_a_gas_part_hangs_low(tmp_path: Path, more: str, place: str | None) -> None:
    """Propane is half as heavy again as air, butane twice (44, 58 and 29 g/mol)."""
    assert all(FUELS[fuel].kg_mol > 0.029 for fuel in CONFIG_FUELS)
    path = tmp_path / "cabin.toml"
    text = packaged("cabin.toml").read_text(encoding="utf-8")
    path.write_text(text + GAS.format(more=more), encoding="utf-8")
    known = Registries()
    found = list(cautions(load(path, known=known), known))
    low = [one for one in found if "run along the floor" in one]
    assert [one.split(",")[0] for one in low] == (
        [f"gas is at {place}"] if place else []
    )
    (scale,) = [one for one in found if "sound too early" in one]
    assert "`answer_lel_pct`" in scale
    scaled = GAS.format(more=f"{more}\noptions = {{ answer_lel_pct = 0.2 }}")
    path.write_text(text + scaled, encoding="utf-8")
    assert not [
        one for one in cautions(load(path, known=known), known) if "too early" in one
    ]
