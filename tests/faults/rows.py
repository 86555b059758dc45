"""The table of failures: part, fault, what is told of it, and within how long.

The faults are those of the sensors sheet, section 14 ('how a wire fails'); the row's
number there stands in the note.  Limits: a part on I2C is told within two of its rounds
and a tick; one on a line within its age (the sheet's 'STALE: older than 3 intervals'),
an interval and a tick; a part that stands still within its own time; a bus at once.
"""

from dataclasses import dataclass

from cabinvigil.drivers import part as find_part

TICK_S = 2.0
BUS_S = 5.0 + TICK_S
"""A stuck bus is found by the next part that is asked: 5 s at the most here."""
WIRE_S = 12.0 + TICK_S
"""Three looks of a converter at a wire, 3 s apart, and its own time."""
FAULT, STUCK, BUS, NOTHING = (
    "sensor-fault/suspect",
    "sensor-stuck",
    "watch-fault/main",
    "",
)


@dataclass(frozen=True)
class Row:
    """One part that fails in one way."""

    kind: str
    fault: str
    within_s: float = 0.0
    """The stated limit; 0 where nothing is to be told."""
    words: str = ""
    """Of the sentence, beside the part's or the bus's name."""
    told: str = FAULT
    """The alarm, or its beginning; '' none at all: the part goes on or comes back."""
    note: str = ""
    """Row of the sheet's table, or why."""

    @property
    def name(self) -> str:
        return f"{self.kind}-{self.fault}"


ABSENT = "does not respond. Check its plug and cable."
OTHER = "is not the kind that the config names. Check its wiring."
GARBLED = "sends garbled data. Check its cable."
SENSELESS = "sends unexpected data. Check its kind in the config."
STILL = "has been stuck"
NO_AIR = "shows an impossible value. Check its wiring."
UNMEASURED = "responds but does not measure. Check its power."
ENDLESS = "sends nonsense without a pause. Switch its power off and on."
PORT = "is missing: its port is not there. Check its plug."
CUT = "sends incomplete data. Check its cable."
LOOSE_WIRE = "is loose. Check its plug and cable."
CUT_WIRE = "is cut or unplugged. Check its plug and cable."
LOST_BUS = "is stuck: its sensors are lost. Switch the sensors' power off and on."


def _polled(
    kind: str, interval_s: float, *rows: tuple[str, str, str], stop_s: float = 0.0
) -> list[Row]:
    """Rows of one part; each of a round's three tries may wait for it to stop."""
    within_s = 2.0 * interval_s + TICK_S + find_part(kind).start_up_s + 3.0 * stop_s
    return [Row(kind, fault, within_s, words, note=note) for fault, words, note in rows]


def _still(kind: str, own_s: float) -> Row:
    within_s = own_s + 10.0 + TICK_S
    return Row(kind, "stick", within_s, STILL, STUCK, "row 13")


def _heard(
    kind: str, age_s: float, interval_s: float, *rows: tuple[str, str, str]
) -> list[Row]:
    within_s = age_s + interval_s + TICK_S
    return [Row(kind, fault, within_s, words, note=note) for fault, words, note in rows]


def _unharmed(kind: str, **faults: str) -> list[Row]:
    return [Row(kind, fault, told=NOTHING, note=note) for fault, note in faults.items()]


RESET = "row 14: set up again, nothing to tell"
SPLIT = "row 16: no fault"
MERGE = "row 16: no fault"

ROWS: tuple[Row, ...] = (
    # --- I2C, with checksums ---
    *_polled(
        "scd4x",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("drop", ABSENT, "row 7"),
        ("flip", GARBLED, "row 7"),
        ("zeros", GARBLED, "row 8"),
        ("ones", GARBLED, "row 8"),
        ("truncate", GARBLED, "row 9"),
        ("babble", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22: its words bear no checksum of this part"),
    ),
    Row("scd4x", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    _still("scd4x", 300.0),
    *_unharmed("scd4x", reset=RESET),
    *_polled(
        "scd30",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5: it may hold the clock for 150 ms"),
        ("flip", GARBLED, "row 7"),
        ("zeros", GARBLED, "row 8"),
        ("ones", GARBLED, "row 8"),
        ("truncate", GARBLED, "row 9"),
        ("babble", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22: its words bear no checksum of this part"),
    ),
    Row("scd30", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    _still("scd30", 300.0),
    *_unharmed("scd30", reset=RESET),
    *_polled(
        "sht4x",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("flip", GARBLED, "row 7"),
        ("zeros", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22"),
    ),
    _still("sht4x", 600.0),
    *_unharmed("sht4x", reset=RESET),
    *_polled(
        "sen6x",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("flip", GARBLED, "row 7"),
        ("zeros", GARBLED, "row 8"),
        ("ones", GARBLED, "row 8"),
        ("truncate", GARBLED, "row 9"),
        ("babble", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22: its words bear no checksum of this part"),
        stop_s=1.4,
    ),
    Row("sen6x", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    _still("sen6x", 300.0),
    *_unharmed("sen6x", reset=RESET),
    *_polled(
        "sht3x",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("flip", GARBLED, "row 7"),
        ("zeros", GARBLED, "row 8"),
        ("ones", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22"),
    ),
    _still("sht3x", 600.0),
    *_unharmed("sht3x", reset=RESET),
    *_polled(
        "pmsa003i",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("flip", GARBLED, "row 7: a sum of 16 bits"),
        ("zeros", SENSELESS, "row 11"),
        ("ones", SENSELESS, "row 10"),
        ("identity", SENSELESS, "row 22"),
    ),
    *_unharmed("pmsa003i", reset=RESET),
    *_polled("sgp41", 1.0, ("flip", GARBLED, "row 7"), ("vanish", ABSENT, "row 1")),
    _still("sgp41", 300.0),
    *_polled("sps30", 5.0, ("vanish", ABSENT, "row 1"), ("ones", GARBLED, "row 8")),
    _still("sps30", 300.0),
    *_polled(
        "stcc4",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("zeros", GARBLED, "row 8"),
        ("ones", GARBLED, "row 8"),
        ("flip", GARBLED, "row 7"),
        ("truncate", GARBLED, "row 9"),
        ("babble", GARBLED, "row 8"),
        ("identity", GARBLED, "row 22: its words bear no checksum of this part"),
        stop_s=2.4,  # and to measure again
    ),
    Row("stcc4", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    _still("stcc4", 300.0),
    *_unharmed("stcc4", reset=RESET),
    # --- I2C, without any check but what is read back ---
    *_polled(
        "bmp280",
        10.0,
        ("vanish", ABSENT, "row 1"),
        ("identity", OTHER, "row 22"),
        ("zeros", OTHER, "row 11"),
        ("ones", OTHER, "row 10"),
    ),
    _still("bmp280", 600.0),
    *_unharmed("bmp280", reset=RESET),
    *_polled(
        "bmp390",
        10.0,
        ("vanish", ABSENT, "row 1"),
        ("identity", OTHER, "row 22"),
        ("zeros", OTHER, "row 11"),
        ("ones", OTHER, "row 10"),
        ("babble", OTHER, "row 10"),
    ),
    _still("bmp390", 600.0),
    *_unharmed("bmp390", reset=RESET),
    *_polled(
        "ina219",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("ones", OTHER, "row 10"),
        ("zeros", OTHER, "row 11"),
        ("identity", OTHER, "row 22"),
    ),
    *_unharmed("ina219", reset=RESET),
    *_polled(
        "ina228",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("ones", OTHER, "row 10"),
        ("zeros", OTHER, "row 11"),
        ("identity", OTHER, "row 22"),
    ),
    *_unharmed("ina228", reset=RESET),
    *_polled(
        "max17048",
        10.0,
        ("vanish", ABSENT, "row 1: an empty cell feeds its gauge no more"),
        ("ones", OTHER, "row 10"),
        ("zeros", OTHER, "row 11: 0 % is never shown"),
        ("identity", OTHER, "row 22"),
    ),
    *_unharmed("max17048", reset=RESET),
    *_polled(
        "bme280",
        10.0,
        ("vanish", ABSENT, "row 1"),
        ("identity", OTHER, "row 22"),
        ("zeros", OTHER, "row 11"),
        ("ones", OTHER, "row 10"),
        ("babble", OTHER, "row 10"),
    ),
    _still("bme280", 600.0),
    *_unharmed("bme280", reset=RESET),
    *_polled(
        "o2_cell_ads1115",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("zeros", OTHER, "row 11: 0 % is never shown"),
        ("ones", OTHER, "row 10"),
        ("flip", OTHER, "row 24"),
        ("truncate", OTHER, "row 9"),
    ),
    Row("o2_cell_ads1115", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    _still("o2_cell_ads1115", 300.0),
    *_unharmed("o2_cell_ads1115", reset=RESET),
    *_polled(
        "o2_key_register",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("ones", UNMEASURED, "row 10: its key register is read back"),
        ("zeros", NO_AIR, "row 11"),
    ),
    _still("o2_key_register", 300.0),
    *_polled(
        "co_cell_ads1115",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("identity", OTHER, "row 22"),
        ("zeros", OTHER, "row 11: 0 ppm is never shown"),
    ),
    *_polled(
        "co_named_i2c",
        2.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("babble", SENSELESS, "row 8"),
        ("zeros", SENSELESS, "row 11: 0 ppm is never shown"),
        ("ones", GARBLED, "row 10"),
        ("truncate", GARBLED, "row 9"),
        ("identity", SENSELESS, "row 22"),
    ),
    Row("co_named_i2c", "hold", BUS_S, LOST_BUS, BUS, "row 4"),
    *_unharmed("co_named_i2c", reset=RESET),
    *_polled(
        "gas_bead_ads1115",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("identity", OTHER, "row 22"),
        ("zeros", OTHER, "row 11: no power is never clean air"),
        ("ones", OTHER, "row 10: no gas is told where none is"),
        ("babble", OTHER, "row 10"),
        ("stick", UNMEASURED, "row 13: it is asked for two inputs in turn"),
    ),
    *_unharmed("gas_bead_ads1115", reset=RESET),
    *_polled(
        "o2_amplified_ads1115",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", ABSENT, "row 5"),
        ("zeros", OTHER, "row 11: 0 % is never shown"),
        ("ones", OTHER, "row 10"),
        ("flip", OTHER, "row 24"),
    ),
    _still("o2_amplified_ads1115", 300.0),
    *_unharmed("o2_amplified_ads1115", reset=RESET),
    *_polled(
        "ina226",
        5.0,
        ("vanish", ABSENT, "row 1"),
        ("ones", OTHER, "row 10: 40.96 V is never shown"),
    ),
    *_unharmed("ina226", reset=RESET),
    *_polled("tmp117", 5.0, ("zeros", OTHER, "row 11"), ("identity", OTHER, "row 22")),
    # --- serial ---
    *_heard(
        "o2_optical_line",
        5.0,
        1.0,
        ("stall", ABSENT, "row 13"),
        ("vanish", ABSENT, "row 1"),
        ("unplug", PORT, "row 18"),
        ("babble", ENDLESS, "row 21"),
        ("ones", SENSELESS, "row 10"),
        ("zeros", SENSELESS, "row 11"),
    ),
    Row(
        "o2_optical_line",
        "drop",
        15.0,
        NO_AIR,
        note="row 17: its percent and its pressures differ; a lost blank does no harm",
    ),
    _still("o2_optical_line", 300.0),
    *_unharmed("o2_optical_line", split=SPLIT, merge=MERGE, reset=RESET),
    *_heard(
        "frame9_co",
        5.0,
        1.0,
        ("stall", ABSENT, "row 13"),
        ("vanish", ABSENT, "row 1"),
        ("unplug", PORT, "row 18"),
        ("flip", GARBLED, "row 7"),
        ("drop", GARBLED, "row 17"),
        ("babble", ENDLESS, "row 21"),
        ("zeros", SENSELESS, "row 11: 0 ppm is never shown"),
        ("ones", GARBLED, "row 10"),
        ("identity", OTHER, "row 22: an oxygen module on the CO port"),
    ),
    *_unharmed(
        "frame9_co", split=SPLIT, merge=MERGE, reset=RESET, noise="row 15: no fault"
    ),
    *_heard(
        "frame9_co2",
        15.0,
        5.0,
        ("stall", ABSENT, "row 13"),
        ("flip", GARBLED, "row 7"),
        ("unplug", PORT, "row 18"),
    ),
    *_heard(
        "modbus_co2",
        15.0,
        5.0,
        ("stall", ABSENT, "row 13"),
        ("vanish", ABSENT, "row 1"),
        ("unplug", PORT, "row 18"),
        ("flip", GARBLED, "row 7"),
        ("drop", SENSELESS, "row 17: of an answer that tells its length"),
        ("babble", ENDLESS, "row 21"),
        ("truncate", SENSELESS, "row 9"),
    ),
    _still("modbus_co2", 600.0),
    *_unharmed("modbus_co2", split=SPLIT, reset=RESET),
    *_heard(
        "frame9_gas",
        5.0,
        1.0,
        ("stall", ABSENT, "row 13"),
        ("vanish", ABSENT, "row 1"),
        ("unplug", PORT, "row 18"),
        ("flip", GARBLED, "row 7"),
        ("drop", GARBLED, "row 17"),
        ("babble", OTHER, "row 21: nine bytes of it make a frame by chance"),
        ("zeros", SENSELESS, "row 11: 0 % LEL is never shown"),
        ("ones", GARBLED, "row 10"),
        ("identity", OTHER, "row 22: an oxygen module, and no gas is told of it"),
    ),
    *_unharmed("frame9_gas", split=SPLIT, merge=MERGE, reset=RESET),
    *_heard(
        "co_named_line",
        5.0,
        1.0,
        ("stall", ABSENT, "row 13"),
        ("vanish", ABSENT, "row 1"),
        ("unplug", PORT, "row 18"),
        ("drop", GARBLED, "row 17"),
        ("babble", OTHER, "row 21: nine bytes of it make a frame by chance"),
        ("zeros", SENSELESS, "row 11: 0 ppm is never shown"),
        ("ones", GARBLED, "row 10"),
        ("identity", OTHER, "row 22: an oxygen module on the CO port"),
    ),
    *_unharmed("co_named_line", split=SPLIT, merge=MERGE, reset=RESET),
    *_heard(
        "frame9_o2",
        5.0,
        1.0,
        ("stall", ABSENT, "row 13"),
        ("identity", OTHER, "row 22: a CO module on the oxygen port"),
    ),
    *_heard(
        "pm_frame",
        10.0,
        2.3,
        ("drop", GARBLED, "row 17"),
        ("babble", ENDLESS, "row 21"),
        ("identity", SENSELESS, "row 22"),
    ),
    *_unharmed("pm_frame", merge=MERGE),
    # --- 1-wire, by the kernel's file ---
    *_polled(
        "ds18b20",
        10.0,
        ("vanish", ABSENT, "row 1"),
        ("stall", CUT, "row 9: the file is empty"),
        ("flip", GARBLED, "row 7: the kernel says NO"),
        ("zeros", NO_AIR, "section 0, 4: nine zeros pass the checksum"),
    ),
    # --- a contact on a line, its wire watched by a converter ---
    Row("contact", "vanish", 1.0 + TICK_S, PORT, note="row 18: its chip is gone"),
    Row("contact", "ones", WIRE_S, CUT_WIRE, note="its wire is cut"),
    Row("contact", "babble", 3.0 + TICK_S, LOOSE_WIRE, note="a loose wire"),
    Row("contact", "truncate", 3.0 + TICK_S, SENSELESS, note="row 9"),
    *_unharmed("contact", stick="row 13: it may rest for ever, its wire is whole"),
)
"""Every row, in the order in which it prints."""
