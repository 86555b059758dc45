"""The recorded vectors, and what each codec reads in them, under the file's names."""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import asdict, is_dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from cabinvigil.drivers import (
    REGISTRY,
    bme280,
    co_cell_ads1115,
    co_named_line,
    contact,
    ds18b20,
    frame9_co,
    frame9_co2,
    frame9_gas,
    frame9_o2,
    gas_bead_ads1115,
    ina226,
    modbus_co2,
    o2_amplified_ads1115,
    o2_cell_ads1115,
    o2_key_register,
    o2_optical_line,
    part,
    pm_frame,
    scd4x,
    scd30,
    sen6x,
    sgp41,
    sht4x,
    sps30,
    stcc4,
    tmp117,
)
from cabinvigil.drivers.kit import ads1115, dust, frame9, galvanic, modbus, named9
from cabinvigil.drivers.kit.air_span import AirSpan
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.gas_lel import gas_sample
from cabinvigil.drivers.kit.registers import check_identity
from cabinvigil.drivers.kit.steps import Sample
from cabinvigil.drivers.kit.words import words

Vector = Mapping[str, Any]
OWN = "READ in tests/drivers/vectors.py"
FILE = Path(__file__).parents[1] / "data" / "sensors" / "vectors.toml"
DATA = tomllib.loads(FILE.read_text())
ANY_AIR = Conditions((-1000.0, 1000.0))
CALIBRATION = bme280.decode_calibration(
    bytes.fromhex(DATA["bme280_calibration"]["calib_88_a1"]),
    bytes.fromhex(DATA["bme280_calibration"]["calib_e1_e7"]),
)


def _raw(vector: Vector) -> bytes:
    if "line" in vector:
        return str(vector["line"]).encode()
    return bytes.fromhex(vector["bytes"])


def _scd4x(vector: Vector) -> dict[str, Any]:
    found = scd4x.decode(_raw(vector))
    return {
        "co2_ppm": found.co2_ppm,
        "temperature_c": found.temp_c,
        "humidity_pct": found.rh_pct,
    }


def _scd30(vector: Vector) -> dict[str, Any]:
    found = scd30.decode(_raw(vector))
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


def _modbus_co2(vector: Vector) -> dict[str, Any]:
    status, _alarms, _outputs, ppm = modbus.decode(_raw(vector)).words
    return {"co2_ppm": ppm, "status": status}


def _stcc4(vector: Vector) -> dict[str, Any]:
    found = stcc4.decode(_raw(vector))
    return {
        "co2_ppm": found.co2_ppm,
        "temperature_c": found.temp_c,
        "humidity_pct": found.rh_pct,
        "is_paused": found.is_paused,
        "has_own_air": found.has_own_air,
    }


def _sen6x(vector: Vector) -> dict[str, Any]:
    return sen6x.decode(_raw(vector), sen6x.MEMBERS[vector["model"]])


def _judge_sen6x(vector: Vector) -> list[Sample]:
    return sen6x.samples(_sen6x(vector), sen6x.MEMBERS[vector["model"]], 0)


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
    mv = o2_cell_ads1115.SIGNAL.millivolts(ads1115.decode(_raw(vector)))
    then, now = vector.get("calibration_hpa", 1013.25), vector.get("now_hpa", 1013.25)
    span = AirSpan(vector["calibration_millivolt"], then, vector["calibration_pct"])
    air = Conditions((-20.0, 50.0))
    raw = galvanic.samples(mv, galvanic.OxygenCellFacts(span), air)
    air.inform("pressure_hpa", now)
    found = galvanic.samples(mv, galvanic.OxygenCellFacts(span), air)
    return {
        "millivolt": mv,
        "o2_pct": found[0].value,
        "o2_pct_uncorrected": raw[0].value,
    }


def _wire(vector: Vector) -> dict[str, Any]:
    mv = ads1115.Input("0", 4096).millivolts(ads1115.decode(_raw(vector)))
    wire = contact.make({}).wire
    return {"is_alarm": wire.is_alarm(mv), "kilo_ohm": wire.ohms(mv) / 1000.0}


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


def _gas9(vector: Vector) -> dict[str, Any]:
    counts = frame9_gas.decode(_raw(vector))
    (found,) = frame9_gas.make({"answer_lel_pct": 0.1}).feed(_raw(vector))
    return {"counts": counts, "lel_pct": found.value}


def _gas_bead(vector: Vector) -> dict[str, Any]:
    bead = gas_bead_ads1115.BeadFacts()
    mv = ads1115.Input("0-1", bead.full_scale_mv).millivolts(
        ads1115.decode(_raw(vector))
    )
    return {"millivolt": mv, "lel_pct": gas_sample(bead.lel_pct(mv), ANY_AIR).value}


def _amplified(vector: Vector) -> dict[str, Any]:
    mv = o2_amplified_ads1115.SIGNAL.millivolts(ads1115.decode(_raw(vector)))
    percent = AirSpan(2000.0, 1013.25).percent(mv, 1013.25)[0]
    return {"millivolt": mv, "o2_pct": percent}


def _co_named(vector: Vector) -> dict[str, Any]:
    answer = named9.decode(_raw(vector))
    (found,) = co_named_line.make({}).feed(_raw(vector))
    return {"co_ppm": found.value, "step_ppm": answer.step_ppm}


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
        "co_ppm": value * 0.1,
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


def read(vector: Vector) -> dict[str, Any]:
    """Return what the codec reads in a vector, by the names that the file has.

    A part whose file has `decode(bytes)` needs no line in `READ`, where its vectors
    are named as its kind: they then expect the reading's own fields, or for a number
    the one quantity that the part gives.

    Raises:
        KeyError: neither is so.
    """
    name = vector["part"]
    if name in READ:
        return READ[name](vector)
    if name not in REGISTRY:
        raise KeyError(f"{name} is no kind of part: say in {OWN} how it is read")
    found = getattr(import_module(REGISTRY[name]), "decode")(_raw(vector))  # noqa: B009
    if is_dataclass(found) and not isinstance(found, type):
        return asdict(found)
    (quantity,) = part(name).gives
    return {quantity: found}


def judge(vector: Vector) -> list[Sample] | None:
    """Return what a part makes of a vector; None where it judges nothing."""
    name = vector["part"]
    if name in JUDGE:
        return JUDGE[name](vector)
    module = None if name in READ else import_module(REGISTRY[name])
    samples = getattr(module, "samples", None)
    return (
        None
        if module is None or samples is None
        else samples(module.decode(_raw(vector)))
    )


READ: dict[str, Callable[[Vector], dict[str, Any]]] = {
    "scd30": _scd30,
    "scd4x": _scd4x,
    "scd4x.data_ready": lambda v: {"ready": scd4x.decode_ready(_raw(v))},
    "scd4x.frc": lambda v: {"correction_ppm": scd4x.decode_correction(_raw(v))},
    "scd4x.serial": _scd4x_serial,
    "sht4x": _sht4x,
    "sen6x": _sen6x,
    "stcc4": _stcc4,
    "sgp41": _sgp41,
    "sgp41.self_test": lambda v: {"ok": sgp41.decode_self_test(_raw(v))},
    "sps30.i2c": lambda v: asdict(sps30.decode(_raw(v))),
    "sps30.status": lambda v: asdict(sps30.decode_status(_raw(v))),
    "bme280": _bme280,
    "ads1115": _ads1115,
    "galvanic_o2": _galvanic,
    "co_cell": _co_cell,
    "amplified_o2": _amplified,
    "co_named": _co_named,
    "gas_bead": _gas_bead,
    "ndir9_gas": _gas9,
    "ina226.bus": lambda v: {"volt": ina226.decode_bus(_raw(v))},
    "ina226.shunt": lambda v: {"millivolt": ina226.decode_shunt(_raw(v))},
    "ina226.id": _ina_id,
    "tmp117": lambda v: {"temperature_c": tmp117.decode(_raw(v))},
    "tmp117.id": _tmp_id,
    "contact": lambda v: {"contact": contact.make({}).feed(_raw(v))[0].value},
    "contact.wire": _wire,
    "ds18b20": lambda v: {"temperature_c": ds18b20.decode(_raw(v))},
    "ds18b20.w1_slave": lambda v: {"temperature_c": ds18b20.decode_text(_raw(v))},
    "pm_serial": _pm_frames,
    "modbus_co2": _modbus_co2,
    "ndir9": _ndir9,
    "co9.upload": _upload,
    "co9.answer": _answer,
    "o2_9.upload": _upload,
    "optical_o2": _optical,
    "i2c_o2_key": lambda v: {"o2_pct": o2_key_register.decode(_raw(v), v["key"])},
}
JUDGE: dict[str, Callable[[Vector], list[Sample]]] = {
    "sen6x": _judge_sen6x,
    "scd4x": lambda v: scd4x.samples(scd4x.decode(_raw(v))),
    "sht4x": lambda v: sht4x.samples(sht4x.decode(_raw(v))),
    "sgp41": lambda v: [
        sgp41.tick_sample("voc_raw", sgp41.decode(_raw(v)).voc_raw, ANY_AIR)
    ],
    "sps30.i2c": lambda v: sps30.samples(sps30.decode(_raw(v)), dust.conditions()),
    "bme280": lambda v: bme280.samples(bme280.decode(_raw(v), CALIBRATION)),
    "pm_serial": lambda v: pm_frame.samples(pm_frame.decode(_raw(v)), ANY_AIR),
    "modbus_co2": lambda v: modbus_co2.make({}).feed(_raw(v)),
    "ndir9": lambda v: frame9_co2.make({}).feed(_raw(v)),
    "optical_o2": lambda v: o2_optical_line.O2OpticalLine()._read(_raw(v)),
    "ds18b20": lambda v: ds18b20.judge(ds18b20.decode(_raw(v))),
    "co9.upload": lambda v: frame9_co.make({}).feed(_raw(v)),
    "o2_9.upload": lambda v: frame9_o2.make({}).feed(_raw(v)),
}
