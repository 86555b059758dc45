"""Emulated parts fit the options and the place of their config."""

from dataclasses import replace
from typing import Any

import pytest

from cabinvigil.daemon.rehearsal.emulated import known
from cabinvigil.daemon.rehearsal.emulated.ads1115 import Volts
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.frame9 import EmulatedFrame9Co
from cabinvigil.daemon.rehearsal.emulated.own_figures import own_figures
from cabinvigil.daemon.rehearsal.emulated.placed import seen_from

SEA = AirNow(o2_pct=20.7, co_ppm=100.0, temp_c=20.0, pressure_hpa=1013.25)


def volts(kind: str, air: AirNow = SEA, **options: Any) -> float:
    """Return a settled cell's volts, its noise among them."""
    own = own_figures(kind, options)
    if kind == "o2_cell_ads1115":
        own["on_for_s"] = 3600.0
    cell: Volts = known.AT_A_CONVERTER[kind](lambda: air, 3, lambda: 0.0, **own)
    return cell()


def test_a_capillary_minds_no_height() -> None:
    """Behind a membrane 2 000 m take a fifth, 795 of 1013 hPa (ISO 2533)."""
    high = replace(SEA, pressure_hpa=795.0)
    kind = "o2_cell_ads1115"
    membrane = volts(kind, high) / volts(kind)
    capillary = volts(kind, high, barrier="capillary") / volts(
        kind, barrier="capillary"
    )
    assert membrane == pytest.approx(0.785, abs=0.01)
    assert capillary == pytest.approx(1.0, abs=0.001)


def test_cells_are_of_the_make_that_the_config_says() -> None:
    """55 mV in place of 11.25; three times the ohms, three times the volts."""
    o2, co = "o2_cell_ads1115", "co_cell_ads1115"
    assert volts(o2, air_mv=55.0) / volts(o2) == pytest.approx(55 / 11.25, rel=0.06)
    assert volts(co, gain_ohm=30_000.0) / volts(co) == pytest.approx(3.0, rel=0.01)
    doubled = volts(co, sensitivity_na_per_ppm=1050.0) / volts(co)
    assert doubled == pytest.approx(2.0, rel=0.01)


@pytest.mark.parametrize(
    ("options", "decimals", "counts", "full"),
    [
        ({}, 1, 1000, 5000),
        ({"mode": "question", "answer_ppm": 1.0}, 0, 100, 500),
        (
            {"mode": "question", "answer_ppm": 1.0, "full_scale_ppm": 2000.0},
            0,
            100,
            2000,
        ),
        ({"full_scale_ppm": 1000.0}, 1, 1000, 10000),
        ({"answer_ppm": 1.0}, 0, 100, 500),
    ],
)
def test_a_module_counts_as_its_sheet_says(
    options: dict[str, Any], decimals: int, counts: int, full: int
) -> None:
    """Bytes 3, 4 to 5 and 6 to 7 of what it sends: decimals, value, range."""
    now_s = [0.0]
    own = own_figures("frame9_co", options)
    part = EmulatedFrame9Co(lambda: SEA, 3, lambda: now_s[0], **own)
    for now_s[0] in (1.0, 100.0, 300.0):  # settled
        frame = part.send()
    assert frame[3] == decimals
    assert int.from_bytes(frame[4:6], "big") == pytest.approx(counts, rel=0.1)
    assert int.from_bytes(frame[6:8], "big") == full


def test_other_options() -> None:
    """What the parts are made with; nothing where nothing is said."""
    for kind in ("ina219", "ina226", "ina228"):
        assert own_figures(kind, {"shunt_mohm": 0.75}) == {"shunt_ohm": 0.00075}
        assert own_figures(kind, {}) == {}
    assert own_figures("frame9_o2", {"mode_byte": 4}) == {"upload_byte": 4}
    question = {"mode": "question", "mode_byte": 4, "barrier": "capillary"}
    assert own_figures("frame9_o2", question) == {"is_share": True}
    assert own_figures("frame9_co2", {"full_scale_ppm": 9e3}) == {"full_scale_ppm": 9e3}
    assert own_figures("modbus_co2", {"full_scale_ppm": 9e3}) == {"full_scale_ppm": 9e3}
    gas = {"answer_lel_pct": 0.2, "full_scale_lel_pct": 50.0}
    assert own_figures("frame9_gas", gas | {"zero_lel_pct": 1.0}) == gas
    beads = {"mv_per_lel_pct": 0.8, "bridge_mv": 2000.0}
    assert own_figures("gas_bead_ads1115", beads | {"zero_mv": 1.0}) == beads
    for kind in ("co_named_i2c", "co_named_line"):
        named = own_figures(kind, {"answer_ppm": 0.1, "full_scale_ppm": 500.0})
        assert named == {"decimals": 1, "full_scale_ppm": 500.0}
        assert own_figures(kind, {"answer_ppm": 10.0}) == {"decimals": 0}
        assert own_figures(kind, {}) == {}
    assert own_figures("o2_key_register", {"barrier": "membrane"}) == {}
    assert own_figures("sen6x", {"model": "SEN65"}) == {"model": "SEN65"}
    assert own_figures("stcc4", {"air": "own"}) == {"sht4x": True}
    assert own_figures("stcc4", {"air": "told"}) == {}
    assert own_figures("sht4x", {}) == {}


def test_a_part_sees_what_hangs_before_it() -> None:
    """Glass and frost outdoors are not the cabin's air; a bunk's is that itself."""
    inside = AirNow(
        temp_c=18.0, glass_c=3.0, outside_c=-9.0, outside_rh_pct=85.0, co2_ppm=4e3
    )
    air = lambda: inside  # noqa: E731
    assert seen_from("", "sht4x", air) is air
    assert seen_from("ceiling", "scd4x", air) is air
    assert seen_from("glass", "ds18b20", air)().glass_c == 3.0
    assert seen_from("glass", "sht4x", air)().temp_c == 3.0
    assert seen_from("", "tmp117", air)().glass_c == 18.0
    outdoors = seen_from("outside", "sht4x", air)()
    assert (outdoors.temp_c, outdoors.rh_pct, outdoors.glass_c) == (-9.0, 85.0, -9.0)
    assert (outdoors.co2_ppm, outdoors.co_ppm) == (425.0, 0.0)
    assert outdoors.o2_pct == pytest.approx(20.9, abs=0.06)
    doors_open = seen_from("outside", "sht4x", AirNow)()
    assert (doors_open.temp_c, doors_open.rh_pct) == (15.0, 75.0)
