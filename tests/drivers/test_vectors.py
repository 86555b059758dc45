"""Every recorded vector, against the codecs: nothing left out unsaid."""

from decimal import Decimal
from functools import partial

import pytest

from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from tests.drivers.vectors import DATA, JUDGE, OWN, READ, Vector, judge, read
from tests.wire import outcome

TOLERANCES = {
    # By part, figure and what is expected.
    ("ads1115", "millivolt_fsr_0_256", "255.992"): 0.0005,  # three decimals
    ("bme280", "humidity_pct_int", "47.0996"): 0.003,  # the integer formula's
    ("bme280", "pressure_pa_int", "100653.254"): 0.5,  # as the humidity
    ("co_cell", "co_ppm", "60.87"): 0.005,  # two decimals
    ("contact.wire", "kilo_ohm", "47.0"): 0.01,  # the resistor's round figure
    ("i2c_o2_key", "o2_pct", "20.9"): 0.0005,  # the air's round figure
    ("co_cell", "co_ppm", "390.1"): 0.05,  # one decimal
    ("stcc4", "humidity_pct", "50.0"): 0.001,  # the sheet's round figure
}
"""Where an expected figure is rounder than the others of its part: see `_allowed`."""
CODES = {"checksum": "crc", "device_invalid_command": "framing"}
"""Words of the file for which our errors have another."""
NO_START = "all zero"
"""Nine zero bytes have no start byte: framing to us, where the libraries, which have
one error only, say checksum."""
NOT_OURS = {
    "gas_index": "no bytes: tests/drivers/kit/test_gas_index.py runs them",
    "ina226.current": "current comes from the shunt register, not from this one",
    "ina226.power": "power is not a quantity here",
    "scd4x.self_test": "never asked for: it takes ten seconds without a reading",
}
NAMES_OF = {"temperature_c": "temp_c", "humidity_pct": "rh_pct"}
"""Words of the file for what we call otherwise."""
NOT_READ = {("ndir9", "temperature_c")}
"""Not in the module's manual, and of no use: another part tells the temperature."""
REFUSED_ON_SIGHT = {
    ("scd4x", "co2 zero with good CRC"): "not_measured",
    ("sht4x", "bottom"): "out_of_range",
    ("sht4x", "top"): "out_of_range",
    ("sgp41", "floor"): "out_of_range",
    ("sgp41", "ceiling"): "out_of_range",
    ("sps30.i2c", "all zero words, good CRC"): "not_measured",
    (
        "sps30.i2c",
        "stuck high exponent: thousands of ug/m3 in clean air",
    ): "out_of_range",
    ("bme280", "hot"): "out_of_range",
    ("pm_serial", "all zero fields"): "not_measured",
    ("ndir9", "zero ppm"): "not_measured",
    ("ds18b20", "scratchpad 85.0 C"): "not_measured",
    ("optical_o2", "status not good"): "not_measured",
}
"""Vectors that decode well and, by their notes, still may not become a value."""
VECTORS = [v for v in DATA["vector"] if v["part"] not in NOT_OURS]
NAMES = [f"{v['part']}: {v['name']}" for v in VECTORS]


def _code(vector: Vector) -> str:
    if vector["name"] == NO_START and vector["part"] in ("ndir9", "co9.upload"):
        return "framing"
    return CODES.get(vector["error"], vector["error"])


def _read_and_judge(vector: Vector) -> None:
    read(vector)
    judge(vector)


def _allowed(part: str, key: str, want: float) -> float:
    """Return half a step of what the codec resolves, as far as the file tells it.

    That is the last digit which any vector of the part has for that figure, or the
    part's own resolution, whichever is finer.
    """
    if (part, key, str(want)) in TOLERANCES:
        return TOLERANCES[part, key, str(want)]
    decimals = [
        -int(Decimal(repr(told)).as_tuple().exponent)
        for vector in VECTORS
        if vector["part"] == part
        and isinstance(told := vector.get("expect", {}).get(key), float)
    ]
    step = 1.02 * 10.0 ** -max(decimals)
    gives = find_part(part).gives if part in REGISTRY else {}
    name = NAMES_OF.get(key, key)
    return min(step, gives[name].resolution if name in gives else step) / 2


@pytest.mark.parametrize("vector", VECTORS, ids=NAMES)
def test_vector(vector: Vector) -> None:
    """The codec reads what the data sheet or library reads, or refuses what it must."""
    part = vector["part"]
    assert part in {*READ, *REGISTRY}, f"say in {OWN} how {part} is read"
    if "error" in vector:
        assert outcome(partial(_read_and_judge, vector)) == _code(vector)
        return
    found = read(vector)
    for key, want in vector["expect"].items():
        if (part, key) in NOT_READ:
            continue
        if isinstance(want, float):
            want = pytest.approx(want, abs=_allowed(part, key, want))
        assert found[key] == want, key


@pytest.mark.parametrize(
    ("part", "name", "code"), [(*k, c) for k, c in REFUSED_ON_SIGHT.items()]
)
def test_refused_on_sight(part: str, name: str, code: str) -> None:
    """Well-formed bytes that no air makes are refused by the part, not shown."""
    (vector,) = [v for v in VECTORS if (v["part"], v["name"]) == (part, name)]
    assert outcome(partial(read, vector)) == "value"
    assert outcome(partial(_read_and_judge, vector)) == code


def test_nothing_left_out() -> None:
    """All are read here or named as not ours, and no reader is there for none."""
    vectors = DATA["vector"]
    assert len(vectors) >= 193
    assert {v["part"] for v in vectors} >= READ.keys() | NOT_OURS.keys()
    assert JUDGE.keys() <= READ.keys()
    not_ours = [v for v in vectors if v["part"] in NOT_OURS]
    assert (len(VECTORS), len(not_ours)) == (len(vectors) - 8, 8)
