"""A row of the table of failures, and the sentences that rows share."""

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


def polled(
    kind: str, interval_s: float, *rows: tuple[str, str, str], stop_s: float = 0.0
) -> list[Row]:
    """Rows of one part; each of a round's three tries may wait for it to stop."""
    within_s = 2.0 * interval_s + TICK_S + find_part(kind).start_up_s + 3.0 * stop_s
    return [Row(kind, fault, within_s, words, note=note) for fault, words, note in rows]


def still(kind: str, own_s: float) -> Row:
    within_s = own_s + 10.0 + TICK_S
    return Row(kind, "stick", within_s, STILL, STUCK, "row 13")


def heard(
    kind: str, age_s: float, interval_s: float, *rows: tuple[str, str, str]
) -> list[Row]:
    within_s = age_s + interval_s + TICK_S
    return [Row(kind, fault, within_s, words, note=note) for fault, words, note in rows]


def unharmed(kind: str, **faults: str) -> list[Row]:
    return [Row(kind, fault, told=NOTHING, note=note) for fault, note in faults.items()]


RESET = "row 14: set up again, nothing to tell"
SPLIT = "row 16: no fault"
MERGE = "row 16: no fault"
