"""Each kind's span: from raw readings to options, and to what it shows with them."""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from cabinvigil.daemon.span.found import Deaf, Found
from cabinvigil.daemon.span.fresh_air import AirFound
from cabinvigil.daemon.span.kept import Span, options_of
from cabinvigil.daemon.span.ways import WAYS, line_bytes, target_ppm, transfers
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import CalibrationError, Transfer
from tests.wire import play

NOW = datetime(2026, 10, 20, tzinfo=UTC)
SEA = AirFound(20.0, 50.0, 1013.25)
"""Its oxygen: 20.95 x (1 - 11.7 / 1013.25) = 20.71 % (saturation as test_span)."""
HILL = AirFound(20.0, 50.0, 939.0)


def span(
    kind: str,
    readings: Sequence[float],
    air: AirFound = SEA,
    first: float | None = None,
    **options: Any,
) -> Found:
    return WAYS[kind].take(options, readings, air, first)


def shown(kind: str, options: Mapping[str, Any], air: AirFound, raw: str) -> float:
    """What the driver itself shows with these options, from bytes on its wire."""
    codec = find_part(kind).make(options)
    for quantity in ("pressure_hpa", "temp_c"):
        codec.inform(quantity, getattr(air, quantity))
    samples = codec.feed(bytes.fromhex(raw))
    return float(samples[0].value)


def test_a_cell_is_spanned_by_its_millivolts() -> None:
    """Then it shows fresh air's oxygen, at that day's pressure and temperature."""
    found = span("o2_cell_ads1115", [11.0, 11.01, 11.02, 11.01, 11.0])
    assert found.options == {
        "air_mv": 11.008,
        "air_o2_pct": 20.708,
        "air_hpa": 1013.25,
        "air_temp_c": 20.0,
    }
    assert found.before is None
    assert found.after == pytest.approx(20.708, abs=1e-3)
    assert found.warnings == ()


def test_the_next_span_tells_what_the_last_one_showed() -> None:
    """Spanned at the sea and carried up: a cell that is well shows the same."""
    old = span("o2_cell_ads1115", [11.0] * 5).options
    mv = 11.0 * 939.0 / 1013.25
    found = span("o2_cell_ads1115", [mv] * 5, HILL, 11.0, **old)
    assert found.before == pytest.approx(20.70, abs=0.02)
    assert found.after == pytest.approx(HILL.o2_pct, abs=1e-3)


@pytest.mark.parametrize(
    ("readings", "first", "why"),
    [
        ([11.0] * 4, None, "4 readings are too few"),
        ([11.0, 11.2, 11.0, 11.0, 11.0], None, "wait for steady air"),
        ([6.9] * 5, None, "outside 7 to 70 mV"),
        ([70.1] * 5, None, "outside 7 to 70 mV"),
        ([7.5] * 5, 11.0, "less than 70% of its first"),
    ],
)
def test_a_cell_that_is_not_fit_is_refused(
    readings: list[float], first: float | None, why: str
) -> None:
    """Under 7 mV or 70 % of its first (sensors sheet, 7a); no cell gives over 70."""
    with pytest.raises(CalibrationError, match=why):
        span("o2_cell_ads1115", readings, first=first)


def test_a_weak_cell_is_taken_with_a_warning() -> None:
    """9 to 13 mV in 210 mbar is a new one's (sensors sheet, 7a, read).

    On the hill a good cell gives less, which is no weakness.
    """
    (weak,) = span("o2_cell_ads1115", [8.0] * 5).warnings
    assert weak.startswith("a weak cell: 8.0 mV in 210 hPa of oxygen")
    (worn,) = span("o2_cell_ads1115", [10.0] * 5, first=12.9).warnings
    assert worn.startswith("it gives 78% of its first calibration; at 70%")
    assert span("o2_cell_ads1115", [8.5] * 5, HILL).warnings == ()


def test_a_module_is_spanned_by_what_it_shows() -> None:
    """19.4 % on the hill becomes fresh air's; a later 18.5 is 95 % of it."""
    found = span("frame9_o2", [19.4, 19.4, 19.5, 19.4, 19.3], HILL)
    assert found.options == {
        "air_reading_pct": 19.4,
        "air_o2_pct": pytest.approx(HILL.o2_pct, abs=1e-3),
        "air_hpa": 939.0,
    }
    assert found.after == pytest.approx(HILL.o2_pct, abs=1e-3)
    # ff 05 04 01 00b9 00fa: 18.5 % of 25.0 in an upload frame (sensors sheet, 12).
    driver = shown("frame9_o2", found.options, HILL, "ff05040100b900fa43")
    assert driver == pytest.approx(HILL.o2_pct * 18.5 / 19.4, abs=0.01)


def test_a_module_that_shows_no_air_is_refused() -> None:
    """Below 15 % in fresh air its cell is worn out; a jumping one is not steady."""
    with pytest.raises(CalibrationError, match=r"shows 14\.0 % in fresh air"):
        span("o2_key_register", [14.0] * 5)
    with pytest.raises(CalibrationError, match="wait for steady air"):
        span("o2_key_register", [20.0, 20.0, 20.5, 20.0, 20.0])
    (near,) = span("o2_key_register", [16.0] * 5, first=20.9).warnings
    assert near == "its signal is 77% of that at its first calibration"


def test_an_optical_part_is_compared_and_no_more() -> None:
    """2 % of full scale is its class (sensors sheet, 11); it has nothing to set."""
    found = span("o2_optical_line", [20.5] * 5)
    assert (found.options, found.warnings) == ({}, ())
    (off,) = span("o2_optical_line", [20.0] * 5).warnings
    assert off.startswith("it is off by -0.71 %, beyond its class of 0.6 %")
    assert not WAYS["o2_optical_line"].kept


def test_a_carbon_monoxide_modules_zero_is_taken_off() -> None:
    """What it showed in fresh air; the driver then shows nothing there."""
    found = span("frame9_co", [1.2, 1.3, 1.2, 1.1, 1.2], zero_ppm=0.5)
    assert found.options == {"zero_ppm": 1.2}
    assert found.before == pytest.approx(0.7)
    # ff 04 03 01 000c 1388: 1.2 ppm of 500.0 in an upload frame (sensors sheet, 12).
    assert shown("frame9_co", found.options, SEA, "ff040301000c138851") == 0.0
    assert found.after == pytest.approx(0.0)


@pytest.mark.parametrize(
    ("kind", "readings", "why"),
    [
        ("frame9_co", [10.5] * 5, "that is gas or a worn cell"),
        ("frame9_co", [-10.5] * 5, "that is gas or a worn cell"),
        ("frame9_co", [0.0, 4.0, 0.0, 0.0, 0.0], "wait for steady air"),
        # 0.575: the raw codec takes a cold cell (sensors sheet, 7b).
        ("co_cell_ads1115", [18.0] * 5, r"5434 nA, as for 10\.3 ppm"),
    ],
)
def test_gas_is_never_zeroed_away(kind: str, readings: list[float], why: str) -> None:
    """More than 10 ppm in fresh air is no zero (sensors sheet, 7b: never auto-zero)."""
    with pytest.raises(CalibrationError, match=why):
        span(kind, readings)


def test_a_carbon_monoxide_cells_zero_is_its_current() -> None:
    """Two ppm of raw signal in the cold are 604 nA; at 20 °C that reads as 1.15 ppm."""
    found = span("co_cell_ads1115", [2.0] * 5, zero_na=-20.0)
    assert found.unit == "nA"
    assert found.signal == pytest.approx(2.0 * 525.0 * 0.575)
    assert found.options == {"zero_na": pytest.approx(603.75)}
    assert found.before == pytest.approx((603.75 + 20.0) / 525.0)
    assert found.after == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize(
    ("kind", "outdoor_ppm", "target"),
    [
        ("scd4x", 430.4, 430.0),
        ("scd4x", 200.0, 350.0),
        ("scd30", 200.0, 400.0),
        ("scd30", 2200.0, 2000.0),
        ("stcc4", 200.0, 400.0),
        ("sen6x", 430.4, 430.0),
        ("frame9_co2", 430.0, 400.0),
        ("modbus_co2", 430.0, 400.0),
    ],
)
def test_what_a_recalibration_takes_the_air_for(
    kind: str, outdoor_ppm: float, target: float
) -> None:
    """The nine-byte module knows 400 alone; the other takes today's air."""
    assert target_ppm(kind, outdoor_ppm) == target
    found = span(kind, [500.0] * 5, target_ppm=target)
    assert found.correction_ppm == target - 500.0
    assert (found.before, found.after) == (500.0, target)


def test_what_a_module_takes_for_400_is_more_of_thin_air() -> None:
    """It shows what it counts, 1.6 % less for each kPa (sensors sheet, 12).

    At 787.5 hPa, 2,080 m, 22.575 kPa less leave 63.9 %: 626 ppm, by hand.
    """
    for kind in ("frame9_co2", "modbus_co2"):
        assert target_ppm(kind, 430.0, 787.5) == pytest.approx(626.1, abs=0.1)
    assert target_ppm("scd4x", 430.0, 787.5) == 430.0


def test_what_is_sent_to_a_part_is_what_its_sheet_says() -> None:
    """ff 01 87 ... 78 for the module; stop, 362f with the target, start for the other.

    Sensors sheet, 12 (LIB) and 1 (v1.1 p. 12); 430 is 01ae, its CRC-8 96.  5204 with
    the target for the SCD30, which is then read back (its interface description).
    """
    assert line_bytes("frame9_co2").hex() == "ff0187000000000078"
    assert line_bytes("modbus_co2").hex() == "fe0600017c066cc7"
    script = [
        (Transfer(bytes.fromhex("3f86"), 0, 0.5), b""),
        (Transfer(bytes.fromhex("362f01ae96"), 3, 0.4), bytes.fromhex("7fd89e")),
        (Transfer(bytes.fromhex("21b1")), b""),
    ]
    assert play(transfers("scd4x", 430.0), script) == -40
    script = [
        (Transfer(bytes.fromhex("520401ae96"), 0, 0.01), b""),
        (Transfer(bytes.fromhex("5204"), 3, 0.01), bytes.fromhex("01ae96")),
    ]
    assert play(transfers("scd30", 430.0), script) is None


def test_a_raw_codec_hears_nothing_of_other_parts() -> None:
    """Else the pressure of the day would be in the signal that is kept."""
    raw = WAYS["frame9_o2"].raw(find_part("frame9_o2"), {"air_reading_pct": 18.0})
    raw.inform("pressure_hpa", 900.0)
    sample, _ = raw.feed(bytes.fromhex("ff05040100b900fa43"))
    assert sample.value == pytest.approx(18.5)
    assert isinstance(raw, Deaf)


def test_only_kinds_of_the_registry_are_spanned() -> None:
    """And every kind that wears or wanders and can be set has its way."""
    assert WAYS.keys() <= REGISTRY.keys()
    worn = {
        kind
        for kind in REGISTRY
        if {"o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct"} & find_part(kind).gives.keys()
    }
    assert worn == WAYS.keys()


@pytest.mark.parametrize(
    ("kind", "readings"),
    [("o2_cell_ads1115", [11.0] * 6), ("frame9_o2", [20.8] * 6)],
)
def test_an_unknown_humidity_is_said(kind: str, readings: list[float]) -> None:
    """At 25 °C and 95 % fresh air holds 20.3 %, and 20.9 is taken for it."""
    take = WAYS[kind].take
    said = take({}, readings, AirFound(25.0, None, 1000.0), None).warnings
    assert any("the humidity was not known: 20.9 % was assumed" in one for one in said)
    known = take({}, readings, AirFound(25.0, 60.0, 1000.0), None).warnings
    assert not any("humidity" in one for one in known)


def test_a_gas_modules_zero_is_taken_off() -> None:
    """Up to 2 % LEL; more is gas, and no zero is made of it."""
    found = span("frame9_gas", [1.0] * 6, zero_lel_pct=0.5)
    assert (found.options, found.unit) == ({"zero_lel_pct": 1.0}, "% LEL")
    assert (found.before, found.after) == (0.5, 0.0)
    with pytest.raises(CalibrationError, match=r"3\.0 % LEL, more than 2: that is gas"):
        span("frame9_gas", [3.0] * 6)
    with pytest.raises(CalibrationError, match="wait for steady air"):
        span("frame9_gas", [0.0, 2.0] * 3)
    raw = WAYS["frame9_gas"].raw(find_part("frame9_gas"), {"zero_lel_pct": 2.0})
    raw.inform("pressure_hpa", 700.0)
    (sample,) = raw.feed(bytes.fromhex("ff8600010000000079"))
    assert sample.value == 1.0


def test_a_bridges_zero_is_kept_in_millivolts() -> None:
    """4.25 mV would read as 10 % LEL; up to 30 mV a bridge may be off."""
    found = span("gas_bead_ads1115", [4.25] * 6, zero_mv=2.125)
    assert (found.options, found.unit) == ({"zero_mv": 4.25}, "mV")
    assert found.before == pytest.approx(5.0)
    assert found.after == 0.0
    assert span("gas_bead_ads1115", [-30.0] * 6).options == {"zero_mv": -30.0}
    for mv in (30.1, -30.1):
        with pytest.raises(CalibrationError, match="more than 30: that is gas"):
            span("gas_bead_ads1115", [mv] * 6)
    with pytest.raises(CalibrationError, match="wait for steady air"):
        span("gas_bead_ads1115", [0.0, 0.6] * 3)


def test_an_amplified_cell_is_spanned_by_its_own_first() -> None:
    """Nobody knows its gain, so no reading is weak; worn is worn."""
    found = span("o2_amplified_ads1115", [800.0] * 6)
    assert found.options["air_mv"] == 800.0
    assert (found.unit, found.before) == ("mV", None)
    assert found.after == pytest.approx(SEA.o2_pct, abs=0.01)
    assert found.warnings == ()
    take = WAYS["o2_amplified_ads1115"].take
    (worn,) = take({}, [800.0] * 6, SEA, 1000.0).warnings
    assert worn == "it gives 80% of its first calibration; at 70% it is worn out"
    with pytest.raises(CalibrationError, match="outside 300 to 2450 mV"):
        span("o2_amplified_ads1115", [11.0] * 6)


def test_a_zero_in_the_cold_is_the_modules_own() -> None:
    """The zero is kept as the module says it; what it showed is corrected for cold."""
    take = WAYS["frame9_co"].take
    found = take({"zero_ppm": 0.5}, [1.5] * 6, AirFound(0.0, 60.0, 1000.0), None)
    assert found.options == {"zero_ppm": 1.5}
    assert found.before == pytest.approx(1.0 / 0.7875)
    warm = {"zero_ppm": 0.5, "compensated": True}
    found = take(warm, [1.5] * 6, AirFound(0.0, 60.0, 1000.0), None)
    assert found.before == pytest.approx(1.0)


def test_a_span_keeps_what_its_cell_senses() -> None:
    """So that weather does not pass for age; the config's word rules the driver."""
    found = span("o2_cell_ads1115", [11.0] * 6, HILL, barrier="capillary")
    assert found.options["barrier"] == "capillary"
    assert "barrier" not in span("o2_cell_ads1115", [11.0] * 6, HILL).options
    kept = Span("cell", "o2_cell_ads1115", NOW, 11.0, "mV", options=dict(found.options))
    assert kept.sensitivity == pytest.approx(11.0 / (found.options["air_o2_pct"]))
    assert "barrier" not in options_of([kept])
    module = span("frame9_o2", [20.8] * 6, barrier="capillary")
    assert module.after == pytest.approx(SEA.o2_pct, abs=0.001)


def test_a_module_is_spanned_high_up() -> None:
    """At 2 800 m (720 hPa, ISO 2533) a good one shows 14.8; at the sea that is worn."""
    way, readings = WAYS["frame9_o2"], [14.8] * 9
    high = AirFound(15.0, 75.0, 720.0)
    assert way.take({}, readings, high, None).options["air_reading_pct"] == 14.8
    for options, air in (
        ({}, AirFound(15.0, 75.0, 1013.25)),
        ({}, AirFound()),
        ({"barrier": "capillary"}, high),
    ):
        with pytest.raises(CalibrationError, match="outside 15 to 25 %"):
            way.take(options, readings, air, None)
    with pytest.raises(CalibrationError, match=r"outside 10\.7 to 25 %"):
        way.take({}, [10.0] * 9, high, None)
