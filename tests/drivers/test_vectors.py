"""Every recorded vector and command, against the codecs: nothing left out unsaid."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.drivers import (
    bme280,
    co_cell_ads1115,
    ds18b20,
    frame9_co,
    frame9_co2,
    frame9_o2,
    ina226,
    o2_cell_ads1115,
    o2_key_register,
    o2_optical_line,
    pm_frame,
    scd4x,
    sgp41,
    sht4x,
    sps30,
    tmp117,
)
from cabinvigil.drivers.kit import ads1115, dust, frame9
from cabinvigil.drivers.kit.air_span import AirSpan
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.registers import check_identity
from cabinvigil.drivers.kit.steps import Sample
from cabinvigil.drivers.kit.words import words
from tests.wire import outcome

Vector = Mapping[str, Any]
FILE = Path(__file__).parents[1] / "data" / "sensors" / "vectors.toml"
DATA = tomllib.loads(FILE.read_text())
ANY_AIR = Conditions((-1000.0, 1000.0))
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

CALIBRATION = bme280.decode_calibration(
    bytes.fromhex(DATA["bme280_calibration"]["calib_88_a1"]),
    bytes.fromhex(DATA["bme280_calibration"]["calib_e1_e7"]),
)


def _raw(vector: Vector) -> bytes:
    if "line" in vector:
        return str(vector["line"]).encode()
    return bytes.fromhex(vector["bytes"])


# --- what each codec reads, under the names of the file -------------------------------


def _scd4x(vector: Vector) -> dict[str, Any]:
    found = scd4x.decode(_raw(vector))
    return {
        "co2_ppm": found.co2_ppm,
        "temperature_c": found.temp_c,
        "humidity_pct": found.rh_pct,
    }


def _scd4x_serial(vector: Vector) -> dict[str, Any]:
    high, middle, low = words(_raw(vector), 3)
    return {"serial": high << 32 | middle << 16 | low}


def _sht4x(vector: Vector) -> dict[str, Any]:
    found = sht4x.decode(_raw(vector))
    return {
        "temperature_c": found.temp_c,
        "humidity_pct_raw": found.rh_pct,
        "humidity_pct": min(100.0, max(0.0, found.rh_pct)),
    }


def _sgp41(vector: Vector) -> dict[str, Any]:
    found = sgp41.decode(_raw(vector))
    return {"sraw_voc": found.voc_raw, "sraw_nox": found.nox_raw}


def _bme280(vector: Vector) -> dict[str, Any]:
    found = bme280.decode(_raw(vector), CALIBRATION)
    return {
        "t_fine": int(found.temp_c * 5120),
        "temperature_c_int": found.temp_c,
        "temperature_c": found.temp_c,
        "pressure_pa_int": found.pressure_hpa * 100,
        "pressure_hpa": found.pressure_hpa,
        "humidity_pct_int": found.rh_pct,
        "humidity_pct": found.rh_pct,
    }


def _ads1115(vector: Vector) -> dict[str, Any]:
    counts = ads1115.decode(_raw(vector))
    millivolts = ads1115.Input("0-1", 256).millivolts(counts)
    return {"counts": counts, "millivolt_fsr_0_256": millivolts}


def _galvanic(vector: Vector) -> dict[str, Any]:
    mv = o2_cell_ads1115.millivolts(ads1115.decode(_raw(vector)))
    then, now = vector.get("calibration_hpa", 1013.25), vector.get("now_hpa", 1013.25)
    span = AirSpan(vector["calibration_millivolt"], then, vector["calibration_pct"])
    air = Conditions((-20.0, 50.0))
    raw = o2_cell_ads1115.samples(mv, o2_cell_ads1115.OxygenCellFacts(span), air)
    air.inform("pressure_hpa", now)
    found = o2_cell_ads1115.samples(mv, o2_cell_ads1115.OxygenCellFacts(span), air)
    return {
        "millivolt": mv,
        "o2_pct": found[0].value,
        "o2_pct_uncorrected": raw[0].value,
    }


def _co_cell(vector: Vector) -> dict[str, Any]:
    counts = ads1115.decode(_raw(vector))
    cell = co_cell_ads1115.CoCellFacts(
        vector["transimpedance_ohm"], vector["sensitivity_na_per_ppm"]
    )
    air = Conditions((-30.0, 50.0))
    air.inform("temp_c", vector["temperature_c"])
    (found,) = co_cell_ads1115.samples(counts, cell, air, vector["temperature_c"])
    millivolts = ads1115.Input("0-1", vector["fsr_mv"]).millivolts(counts)
    return {
        "millivolt": millivolts,
        "co_ppm": found.value,
        "co_ppm_uncorrected": cell.ppm(millivolts, 20.0),
        "at_least": found.quality == "at-least",
    }


def _ina_id(vector: Vector) -> dict[str, Any]:
    raw = _raw(vector)
    for got, want in zip((raw[:2], raw[2:]), ina226.IDENTITY.values(), strict=True):
        check_identity(got, want, "identity register")
    first, second = (int.from_bytes(want) for want in ina226.IDENTITY.values())
    return {"manufacturer": first, "die": second}


def _tmp_id(vector: Vector) -> dict[str, Any]:
    check_identity(_raw(vector), tmp117.IS_TMP117, "identity register")
    return {"id": int.from_bytes(tmp117.IS_TMP117)}


def _pm_frames(vector: Vector) -> dict[str, Any]:
    """Hunt first where the bytes are not one frame, as the stream does."""
    raw = _raw(vector)
    if len(raw) > pm_frame.SIZE:
        (raw,) = [f for f in pm_frame._hunter().feed(raw) if isinstance(f, bytes)]
    return asdict(pm_frame.decode(raw))


def _ndir9(vector: Vector) -> dict[str, Any]:
    raw = _raw(vector)
    cut = vector.get("split_at", len(raw))
    hunter = frame9.hunter()
    frames = [raw] if len(raw) == frame9.SIZE == cut else []
    for item in [] if frames else hunter.feed(raw[:cut]) + hunter.feed(raw[cut:]):
        assert isinstance(item, bytes)
        frames.append(item)
    found = [frame9_co2.decode(frame) for frame in frames]
    return {
        "co2_ppm": found[-1],
        "co2_ppm_list": found,
    }


def _upload(vector: Vector) -> dict[str, Any]:
    found = frame9.decode_upload(_raw(vector))
    return {"co_ppm": found.value, "o2_pct": found.value}


def _answer(vector: Vector) -> dict[str, Any]:
    raw = _raw(vector)
    value = frame9.answer_value(raw)
    return {
        "co_ppm": value * frame9_co.CO.answer_step,
        "raw_2_3": value,
        "raw_6_7": int.from_bytes(raw[6:8]),
    }


def _optical(vector: Vector) -> dict[str, Any]:
    found = o2_optical_line.decode(_raw(vector))
    if isinstance(found, o2_optical_line.OpticalReading):
        return {
            "ppo2_mbar": found.o2_hpa,
            "temperature_c": found.temp_c,
            "pressure_mbar": found.pressure_hpa,
            "o2_pct": found.o2_pct,
            "status": found.status,
            "valid": found.status == o2_optical_line.GOOD,
        }
    if found.letter == "#":
        high, low = (int(number) for number in found.numbers)
        return {"serial": high << 16 | low}
    return {"%": {"o2_pct": found.numbers[0]}, "M": {"mode": found.numbers[0]}}[
        found.letter
    ]


READ: dict[str, Callable[[Vector], dict[str, Any]]] = {
    "scd4x": _scd4x,
    "scd4x.data_ready": lambda v: {"ready": scd4x.decode_ready(_raw(v))},
    "scd4x.frc": lambda v: {"correction_ppm": scd4x.decode_correction(_raw(v))},
    "scd4x.serial": _scd4x_serial,
    "sht4x": _sht4x,
    "sgp41": _sgp41,
    "sgp41.self_test": lambda v: {"ok": sgp41.decode_self_test(_raw(v))},
    "sps30.i2c": lambda v: asdict(sps30.decode(_raw(v))),
    "sps30.status": lambda v: asdict(sps30.decode_status(_raw(v))),
    "bme280": _bme280,
    "ads1115": _ads1115,
    "galvanic_o2": _galvanic,
    "co_cell": _co_cell,
    "ina226.bus": lambda v: {"volt": ina226.decode_bus(_raw(v))},
    "ina226.shunt": lambda v: {"millivolt": ina226.decode_shunt(_raw(v))},
    "ina226.id": _ina_id,
    "tmp117": lambda v: {"temperature_c": tmp117.decode(_raw(v))},
    "tmp117.id": _tmp_id,
    "ds18b20": lambda v: {"temperature_c": ds18b20.decode(_raw(v))},
    "ds18b20.w1_slave": lambda v: {"temperature_c": ds18b20.decode_text(_raw(v))},
    "pm_serial": _pm_frames,
    "ndir9": _ndir9,
    "co9.upload": _upload,
    "co9.answer": _answer,
    "o2_9.upload": _upload,
    "optical_o2": _optical,
    "i2c_o2_key": lambda v: {"o2_pct": o2_key_register.decode(_raw(v), v["key"])},
}

# --- what each part makes of it: samples, or a refusal --------------------------------

JUDGE: dict[str, Callable[[Vector], list[Sample]]] = {
    "scd4x": lambda v: scd4x.samples(scd4x.decode(_raw(v))),
    "sht4x": lambda v: sht4x.samples(sht4x.decode(_raw(v))),
    "sgp41": lambda v: [
        sgp41.tick_sample("voc_raw", sgp41.decode(_raw(v)).voc_raw, ANY_AIR)
    ],
    "sps30.i2c": lambda v: sps30.samples(sps30.decode(_raw(v)), dust.conditions()),
    "bme280": lambda v: bme280.samples(bme280.decode(_raw(v), CALIBRATION)),
    "pm_serial": lambda v: pm_frame.samples(pm_frame.decode(_raw(v)), ANY_AIR),
    "ndir9": lambda v: frame9_co2.make({}).feed(_raw(v)),
    "optical_o2": lambda v: o2_optical_line.O2OpticalLine()._read(_raw(v)),
    "ds18b20": lambda v: ds18b20.judge(ds18b20.decode(_raw(v))),
    "co9.upload": lambda v: frame9_co.make({}).feed(_raw(v)),
    "o2_9.upload": lambda v: frame9_o2.make({}).feed(_raw(v)),
}
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
    """All 148 vectors are read here or named as not ours."""
    assert len(DATA["vector"]) == 148
    assert {v["part"] for v in DATA["vector"]} == READ.keys() | NOT_OURS.keys()
    assert len(VECTORS) == 148 - 8


# --- commands -------------------------------------------------------------------------

SENT: dict[tuple[str, str], bytes] = {
    ("scd4x", "start_periodic"): scd4x.command(scd4x.START_PERIODIC),
    ("scd4x", "read_measurement"): scd4x.command(scd4x.READ_MEASUREMENT),
    ("scd4x", "stop_periodic"): scd4x.command(scd4x.STOP_PERIODIC),
    ("scd4x", "data_ready"): scd4x.command(scd4x.DATA_READY),
    ("scd4x", "asc_off"): scd4x.command(scd4x.SET_SELF_CALIBRATION, 0),
    ("scd4x", "ambient_pressure 98700 Pa"): scd4x.command(scd4x.SET_PRESSURE, 987),
    ("scd4x", "altitude 1950 m"): scd4x.command(scd4x.SET_ALTITUDE, 1950),
    ("scd4x", "temperature_offset 5.4 C"): scd4x.command(
        scd4x.SET_TEMP_OFFSET, scd4x.temp_offset_word(5.4)
    ),
    ("scd4x", "frc target 480 ppm"): scd4x.command(scd4x.FORCED_RECALIBRATION, 480),
    ("scd4x", "persist_settings"): scd4x.command(scd4x.PERSIST_SETTINGS),
    ("sht4x", "measure_high"): bytes([sht4x.MEASURE_HIGH]),
    ("sht4x", "serial"): bytes([sht4x.SERIAL_NUMBER]),
    ("sht4x", "soft_reset"): bytes([sht4x.SOFT_RESET]),
    ("sgp41", "measure_raw default 50 % 25 C"): sgp41.command(
        sgp41.MEASURE, sgp41.humidity_word(50.0), sgp41.temperature_word(25.0)
    ),
    ("sgp41", "conditioning default"): sgp41.command(
        sgp41.CONDITION, sgp41.humidity_word(50.0), sgp41.temperature_word(25.0)
    ),
    ("sgp41", "self_test"): sgp41.command(sgp41.SELF_TEST),
    ("sgp41", "heater_off"): sgp41.command(sgp41.HEATER_OFF),
    ("sgp41", "serial"): sgp41.command(sgp41.SERIAL_NUMBER),
    ("pm_serial", "active mode"): pm_frame.spell(pm_frame.SET_ACTIVE, 1),
    ("pm_serial", "passive mode"): pm_frame.spell(pm_frame.SET_ACTIVE, 0),
    ("pm_serial", "read once in passive"): pm_frame.spell(0xE2, 0),
    ("pm_serial", "sleep"): pm_frame.spell(pm_frame.WAKE, 0),
    ("pm_serial", "wake"): pm_frame.spell(pm_frame.WAKE, 1),
    ("ndir9", "read 0x86"): frame9_co2.make({}).request(),
    ("ndir9", "zero point 0x87"): frame9_co2.zero_command(),
    ("ndir9", "self-calibration off 0x79"): frame9_co2.make({}).opening(),
    ("co9", "read once"): frame9_co.make({"mode": "question"}).request(),
    ("co9", "question mode 0x78 0x41"): frame9_co.make({"mode": "question"}).opening(),
    ("co9", "upload mode 0x78 0x40"): frame9_co.make({}).opening(),
    ("co9", "question mode, ZE03 family 0x78 0x04"): frame9_co.make(
        {"mode": "question", "mode_byte": 4}
    ).opening(),
    ("co9", "ask once, ZE03 family 0x78 0x03"): frame9_co.make(
        {"mode_byte": 3}
    ).opening(),
    ("optical_o2", "stream mode"): o2_optical_line.make({}).opening(),
}
NEVER_SENT = {
    "scd4x": {"asc_on", "asc_target 420 ppm"},  # self-calibration stays off
    "sht4x": {
        "measure_medium",
        "measure_low",
        "heater_high_1s",
        "heater_high_100ms",
        "heater_medium_1s",
        "heater_medium_100ms",
        "heater_low_1s",
        "heater_low_100ms",
    },  # one precision is enough, and nothing heats it
    # self-calibration stays off, and no cabin has a gas of known ppm for a span
    "ndir9": {"self-calibration on 0x79", "span 2000 ppm 0x88"},
    "ads1115": {
        "config: start single shot, AIN0-AIN1, 0.256 V, 128 SPS, comparator off"
    },
    "ina226": {"calibration 2 mOhm, 1 mA/bit"},  # the current register is not used
    "optical_o2": {
        "poll mode",
        "off",
        "all values",
        "percent",
        "ppO2",
        "temperature",
        "pressure",
        "status",
        "date",
        "serial",
        "revision",
    },  # it streams everything
}


@pytest.mark.parametrize(
    "line", DATA["command"], ids=[f"{c['part']}: {c['name']}" for c in DATA["command"]]
)
def test_command(line: Vector) -> None:
    """Commands are the very bytes that libraries and data sheets send."""
    part, name = line["part"], line["name"]
    if name in NEVER_SENT.get(part, ()):
        assert (part, name) not in SENT
        return
    assert SENT[part, name] == bytes.fromhex(line["bytes"])


def test_converter_differs_in_speed_alone() -> None:
    """The recorded setting of the converter is ours but for its speed (8b83, 8b03)."""
    ours = int.from_bytes(ads1115.Input("0-1", 256).config)
    assert ours == 0x8B83 & ~0x00E0
