"""hardware.md's plan of addresses: what is at which, and what is not beside it."""

import tomllib
from dataclasses import replace

from cabinvigil.drivers import part
from cabinvigil.drivers.kit.steps import PartInfo
from tests.test_hardware import PARTS, blocks
from tests.tools import wiring_plan


def test_two_cells_of_the_plan_at_one_converter_have_inputs_of_their_own() -> None:
    infos = wiring_plan.on_i2c()
    given: dict[tuple[int, str], str] = {}
    for kind, (address, _) in wiring_plan.address_plan(infos).items():
        (snippet,) = blocks("toml", PARTS[kind])
        (own,) = tomllib.loads(snippet)["part"].values()
        for pin in infos[kind].inputs(own.get("options", {})) or ():
            before = given.setdefault((address, pin), kind)
            assert before == kind, f"{kind} and {before} have input {pin}"
    assert given, "it looked in the right place"


def hygrometer(*addresses: int) -> dict[str, PartInfo]:
    """Power monitors, and a part that measures what none of them does."""
    new = replace(part("sht4x"), name="new", address=0x40, addresses=addresses)
    monitors = {kind: part(kind) for kind in ("ina219", "ina226", "ina228")}
    return {**monitors, "new": new}


def test_a_part_at_anothers_address_with_another_purpose_has_a_way_out() -> None:
    """Both would answer at once, and a cabin has humidity and a battery to watch."""
    infos = hygrometer(0x40)
    said = wiring_plan.others_there("new", infos)
    assert said == "`ina226`, `ina228`: set that one to 0x42"
    assert wiring_plan.others_there("ina226", infos) == (
        "`ina228`: in its place; `new`: set this one to 0x42"
    )
    both_fixed = {**infos, "ina226": replace(infos["ina226"], addresses=(0x40,))}
    assert "`ina226`: on another bus" in wiring_plan.others_there("new", both_fixed)
    movable = hygrometer(0x40, 0x43)
    assert "set this one to 0x43" in wiring_plan.others_there("new", movable)
