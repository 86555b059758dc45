"""Every recorded command, against what the codecs send."""

import pytest

from cabinvigil.drivers import (
    frame9_co,
    frame9_co2,
    modbus_co2,
    o2_optical_line,
    pm_frame,
    scd4x,
    sgp41,
    sht4x,
)
from cabinvigil.drivers.kit import ads1115, modbus
from tests.drivers.vectors import DATA, Vector

ASKED = {"mode": "question", "answer_ppm": 0.1}
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
    ("modbus_co2", "read status to value"): modbus_co2.question(),
    ("modbus_co2", "self-calibration period"): modbus_co2.make({}).request(),
    ("modbus_co2", "self-calibration off"): modbus.spell(
        modbus_co2.ANY_UNIT, modbus.WRITE_ONE, modbus_co2.PERIOD, 0
    ),
    ("modbus_co2", "take the air for 400 ppm"): modbus_co2.zero_command(),
    ("co9", "read once"): frame9_co.make(ASKED).request(),
    ("co9", "question mode 0x78 0x41"): frame9_co.make(ASKED).opening(),
    ("co9", "upload mode 0x78 0x40"): frame9_co.make({}).opening(),
    ("co9", "question mode, ZE03 family 0x78 0x04"): frame9_co.make(
        ASKED | {"mode_byte": 4}
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
    "modbus_co2": {"self-calibration each 180 h"},  # it stays off
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
    assert (part, name) in SENT, f"SENT or NEVER_SENT in {__file__}"
    assert SENT[part, name] == bytes.fromhex(line["bytes"])


def test_converter_differs_in_speed_alone() -> None:
    """The recorded setting of the converter is ours but for its speed (8b83, 8b03)."""
    ours = int.from_bytes(ads1115.Input("0-1", 256).config)
    assert ours == 0x8B83 & ~0x00E0
