"""Every recorded vector, against the codecs: nothing left out unsaid."""

from functools import partial

import pytest

from tests.drivers.vectors import DATA, JUDGE, READ, Vector
from tests.wire import outcome

TOLERANCE = 0.01
"""As the file says, where a note names none."""
TOLERANCES = {
    "pressure_pa_int": 0.5,  # the note: the integer formula against the float one
    "390.1": 0.05,  # recorded with one decimal
}
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
    READ[vector["part"]](vector)
    JUDGE[vector["part"]](vector)


@pytest.mark.parametrize("vector", VECTORS, ids=NAMES)
def test_vector(vector: Vector) -> None:
    """The codec reads what the data sheet or library reads, or refuses what it must."""
    read = READ[vector["part"]]
    if "error" in vector:
        run = _read_and_judge if vector["part"] in JUDGE else read
        assert outcome(partial(run, vector)) == _code(vector)
        return
    found = read(vector)
    for key, want in vector["expect"].items():
        if (vector["part"], key) in NOT_READ:
            continue
        allowed = TOLERANCES.get(key, TOLERANCES.get(str(want), TOLERANCE))
        if isinstance(want, float):
            want = pytest.approx(want, abs=allowed)
        assert found[key] == want, key


@pytest.mark.parametrize(
    ("part", "name", "code"), [(*k, c) for k, c in REFUSED_ON_SIGHT.items()]
)
def test_refused_on_sight(part: str, name: str, code: str) -> None:
    """Well-formed bytes that no air makes are refused by the part, not shown."""
    (vector,) = [v for v in VECTORS if (v["part"], v["name"]) == (part, name)]
    assert outcome(partial(READ[part], vector)) == "value"
    assert outcome(partial(_read_and_judge, vector)) == code


def test_nothing_left_out() -> None:
    """All 158 vectors are read here or named as not ours."""
    assert len(DATA["vector"]) == 158
    assert {v["part"] for v in DATA["vector"]} == READ.keys() | NOT_OURS.keys()
    assert len(VECTORS) == 158 - 8
