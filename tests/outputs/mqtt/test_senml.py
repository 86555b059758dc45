"""SenML packs against RFC 8428 and RFC 8798, through a resolver of our own."""

import json
from datetime import UTC, datetime
from typing import Any

import pytest

from cabinvigil.daemon.outputs.mqtt.senml import SeriesReading, pack
from cabinvigil.drivers.kit.quantity import QUANTITIES

NOW = datetime(2025, 1, 14, 21, 0, tzinfo=UTC)

# Symbol -> (factor to the primary unit, primary unit): RFC 8428 table and RFC 8798
# (check_values senml_units, READ from the IANA registry and the RFC's draft).
UNITS = {
    "/100": (0.01, "/"), "ppm": (1e-6, "/"), "%RH": (1.0, "%RH"), "Cel": (1.0, "Cel"),
    "%EL": (1.0, "%EL"),  # battery energy left, in percent (RFC 8428, 12.1)
    "hPa": (100.0, "Pa"), "V": (1.0, "V"), "A": (1.0, "A"), "/": (1.0, "/"),
    "ug/m3": (1e-9, "kg/m3"), "count": (1.0, "count"),
}  # fmt: skip


def resolve(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Resolve base values (RFC 8428 section 4.6), independent of the encoder."""
    base: dict[str, Any] = {}
    out = []
    for record in records:
        base.update(
            {k: v for k, v in record.items() if k in {"bn", "bt", "bu", "bver"}}
        )
        one = {k: v for k, v in record.items() if k not in {"bn", "bt", "bu", "bver"}}
        one["n"] = base.get("bn", "") + one.get("n", "")
        one["t"] = base.get("bt", 0) + one.get("t", 0)
        if "u" not in one and "bu" in base:
            one["u"] = base["bu"]
        out.append(one)
    return out


def test_the_resolver_agrees_with_the_rfcs_example() -> None:
    """RFC 8428's multi-measurement example (check_values senml_example_resolve)."""
    pack = json.loads(
        '[{"bn":"urn:dev:ow:10e2073a01080063:","bt":1.276020076001e+09,"bu":"A",'
        '"bver":5,"n":"voltage","u":"V","v":120.1},'
        '{"n":"current","t":-5,"v":1.2},{"n":"current","t":-3,"v":0.14e1}]'
    )
    got = resolve(pack)
    assert [(r["u"], r["v"], round(r["t"], 3)) for r in got] == [
        ("V", 120.1, 1276020076.001),
        ("A", 1.2, 1276020071.001),
        ("A", 1.4, 1276020073.001),
    ]


def test_readings_resolve_to_names_units_values_and_moments() -> None:
    """Temperature in Cel and humidity in %RH (check_values senml_example_env)."""
    got = resolve(
        pack(
            "cabinvigil/lapwing/",
            [SeriesReading("temp_c", 25.2, 0.0), SeriesReading("rh_pct", 30.0, 4.0)],
            NOW,
        )
    )
    assert got == [
        {"n": "cabinvigil/lapwing/temp_c", "u": "Cel", "v": 25.2, "t": NOW.timestamp()},
        {
            "n": "cabinvigil/lapwing/rh_pct",
            "u": "%RH",
            "v": 30.0,
            "t": NOW.timestamp() - 4.0,
        },
    ]


@pytest.mark.parametrize("name", sorted(set(QUANTITIES) - {"o2_hpa"}))
def test_every_quantity_has_a_registered_symbol(name: str) -> None:
    """The exact symbol per quantity; none is the '%' that would mean a ratio."""
    (record,) = pack("x/", [SeriesReading(name, 1.0, 0.0)], NOW)
    assert record["u"] in UNITS
    assert record["u"] != "%"


def test_secondary_units_convert_as_the_rfc_says() -> None:
    """check_values senml_secondary_rule: 20.9 /100 is 0.209, 35 ppm is 3.5e-5."""
    for series, value, primary, unit in (
        ("o2_pct", 20.9, 0.209, "/"),
        ("co_ppm", 35.0, 3.5e-5, "/"),
        ("pressure_hpa", 1013.25, 101325.0, "Pa"),
    ):
        (record,) = pack("x/", [SeriesReading(series, value, 0.0)], NOW)
        factor, symbol = UNITS[record["u"]]
        assert record["v"] * factor == pytest.approx(primary)
        assert symbol == unit


def test_a_clock_that_shows_1970_gives_relative_times() -> None:
    """Times below 2^28 s mean 'relative to now' (RFC 8428, from memory)."""
    early = datetime(1970, 1, 1, 3, tzinfo=UTC)
    (record,) = pack("x/", [SeriesReading("o2_pct", 20.5, 7.0)], early)
    assert "bt" not in record
    assert record["t"] == -7.0


def test_a_value_at_full_scale_says_so() -> None:
    got = pack("x/", [SeriesReading("co_ppm", 1000.0, 0.0, at_least=True)], NOW)
    assert got[1] == {"n": "co_ppm/at-least", "vb": True}


def test_values_are_rounded_to_what_is_worth_showing() -> None:
    (record,) = pack("x/", [SeriesReading("co2_ppm", 1234.56, 0.0)], NOW)
    assert record["v"] == 1235
    assert isinstance(record["v"], int)


def test_an_unknown_series_is_refused() -> None:
    with pytest.raises(ValueError, match="no SenML unit"):
        pack("x/", [SeriesReading("mood_pct", 1.0, 0.0)], NOW)


def test_no_readings_are_an_empty_pack() -> None:
    assert pack("x/", [], NOW) == []


@pytest.mark.parametrize("name", sorted(QUANTITIES))
def test_names_use_only_the_rfcs_letters(name: str) -> None:
    """Letters, digits and -:./_ , beginning with one of the first two (memory)."""
    for series in (name, f"{name}_outside", f"{name}__bunk_cell"):
        for record in pack("cabinvigil/lapwing/", [SeriesReading(series, 1, 0)], NOW):
            whole = "cabinvigil/lapwing/" + record["n"]
            assert whole[0].isalnum()
            assert all(c.isascii() and (c.isalnum() or c in "-:./_") for c in whole)
