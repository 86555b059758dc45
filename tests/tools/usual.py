"""The usual build on one picture: each wire of config/cabin.toml, to its pin.

`python -m tests.tools.drawings` puts the picture into tests/pictures/building, and the
list of its wires below it.  Pins are those of the wiring plan, sensors and lines those
of the example.
"""

from collections.abc import Iterator

from cabinvigil.daemon.settings.config import example
from tests.tools.circuits import LOADS
from tests.tools.sheet import Point, Sheet
from tests.tools.wiring_plan import CLOCK, USED_PINS

LEFT, RIGHT, TOP, PITCH = 440.0, 600.0, 76.0, 32.0
"""Of the drawn header: its two edges, its first row, and between two rows."""
LINES = ("3.3 V", "SDA", "SCL", "GND")
LINE_PINS = (1, 3, 5, 6)
"""The bus's four lines, and the header's pins of each."""
BUS_Y = 470.0
IN_BOX = ("ina226", CLOCK[0])
"""What is beside the Pi; all else on the bus is at the bunk, by one cable."""
TITLE = "The usual build, wire by wire"


def row(pin: int) -> float:
    """Return how far down a header pin is drawn."""
    return TOP + (pin - 1) // 2 * PITCH


def named(pin: int) -> str:
    """Return a pin with its name: `GPIO4, pin 7`."""
    return f"{USED_PINS[pin][0]}, pin {pin}"


def on_bus() -> list[tuple[str, str]]:
    """Return name and kind of what is on the header's bus: first what is in the box."""
    parts = example().parts.items()
    found = [(name, one.kind) for name, one in parts if one.bus == "main"]
    boards = [*found, ("clock", CLOCK[0])]
    return sorted(boards, key=lambda board: board[1] not in IN_BOX)


def wiring() -> Sheet:
    """Draw the header, and what each of its wires leads to."""
    sheet = Sheet(TITLE, 1040, 900)
    _header(sheet)
    _serial(sheet)
    _window(sheet)
    _signals(sheet)
    _bus(sheet)
    _battery(sheet)
    return sheet


def _header(sheet: Sheet) -> None:
    sheet.block((LEFT, 20), (RIGHT - LEFT, 10 * PITCH + 46), "Pi, pins 1 to 20")
    for pin in range(1, 21):
        name, is_left = USED_PINS[pin][0], pin % 2 == 1
        at = (LEFT + 8 if is_left else RIGHT - 8, row(pin) + 5)
        words = f"{pin}  {name}" if is_left else f"{name}  {pin}"
        sheet.text(at, words, "start" if is_left else "end")


def _to(sheet: Sheet, pin: int, end: Point, label: str = "") -> None:
    """Draw a straight wire from a pin to the side, and what it is at its end."""
    y = row(pin)
    edge = LEFT if pin % 2 else RIGHT
    sheet.wire((edge, y), (end[0], y), end)
    if label:
        inside = 8 if end[0] > edge else -8
        at = (end[0] + inside, end[1] + 5)
        sheet.text(at, label, "start" if inside > 0 else "end")


def _serial(sheet: Sheet) -> None:
    parts = example().parts
    kind = parts["bunk-o2"].kind
    top = row(2) - 20
    sheet.block((800, top), (220, 170), "")
    sheet.text((910, top + 100), "bunk-o2", "middle")
    sheet.text((910, top + 120), kind, "middle")
    ends = {2: ("VCC", 0), 8: ("RX", 60), 10: ("TX", 92), 14: ("GND", 130)}
    for lane, (pin, (label, down)) in enumerate(ends.items()):
        y = top + 20 + down
        bend = 700.0 + 16 * lane
        sheet.wire((RIGHT, row(pin)), (bend, row(pin)), (bend, y), (800, y))
        sheet.text((808, y + 5), label)
        sheet.join(f"`bunk-o2`, {label}: {named(pin)}")
    sheet.text((690, 424), "USB socket: an adapter, and bunk-co on it,")
    sheet.text((690, 444), "VCC at 5V, GND at GND, TX at RXD, RX at TXD")
    sheet.join("`bunk-co`: VCC, GND, TX and RX at the USB adapter's 5V, GND, RXD and "
               "TXD; the adapter in the Pi's USB socket")  # fmt: skip


def _window(sheet: Sheet) -> None:
    kind = example().parts["pane"].kind
    top = row(7) - 10
    sheet.block((20, top - 26), (170, 130), "")
    sheet.text((84, top + 46), "window,", "middle")
    sheet.text((84, top + 64), kind, "middle")
    for pin, label, down in ((7, "DQ", 0), (17, "VDD", 56), (9, "GND", 84)):
        y = top + down
        bend = {7: 420.0, 9: 400.0, 17: 300.0}[pin]
        sheet.wire((LEFT, row(pin)), (bend, row(pin)), (bend, y), (190, y))
        sheet.text((182, y + 5), label, "end")
        sheet.join(f"`pane`, {label}: {named(pin)}")
    sheet.legs("resistor", (228, top), (228, top + 56), "4.7 kΩ")
    sheet.dot((228, top), (228, top + 56))
    sheet.join("4.7 kΩ: from DQ to VDD of `pane`, at the Pi's end")


def _signals(sheet: Sheet) -> None:
    for pin, label, x in ((11, "first sounder", 250), (13, "second sounder", 270)):
        _to(sheet, pin, (x, row(pin) + 60), f"{label}: its R1")
        sheet.join(f"{label}: R1 of its transistor to {named(pin)}")
    sheet.text((20, row(13) + 100), "their plus and minus: at the converter, below")
    sheet.join("both sounders, of 12 V: their plus at the plus of the converter's "
               "input; each transistor's emitter and R2 at its minus")  # fmt: skip
    for pin, label in ((16, "R3, 470 Ω, then the LED"), (18, "button"), (20, "")):
        if label:
            _to(sheet, pin, (800, row(pin) + 20), label)
    sheet.wire((RIGHT, row(20)), (800, row(20)), (800, row(20) + 20))
    sheet.text((808, row(20) + 25), "other side of LED and button")
    sheet.join(f"R3, 470 Ω, then the LED's longer leg: {named(16)}")
    sheet.join(f"the button: {named(18)}")
    sheet.join(f"the LED's shorter leg and the button's other side: {named(20)}")


def _bus(sheet: Sheet) -> None:
    ys = [BUS_Y + 22 * lane for lane in range(len(LINES))]
    lanes = (314.0, 348.0, 382.0, 412.0)
    for line, pin, y, lane in zip(LINES, LINE_PINS, ys, lanes, strict=True):
        if pin % 2:
            sheet.wire((LEFT, row(pin)), (lane, row(pin)), (lane, y))
        else:
            round_it = ((640.0, row(pin)), (640.0, 410.0), (lane, 410.0))
            sheet.wire((RIGHT, row(pin)), *round_it, (lane, y))
        sheet.dot((lane, y))
        sheet.wire((80, y), (420, y))
        sheet.wire((420, y), (474, y), dashed=True)
        sheet.wire((474, y), (1020, y))
        sheet.text((72, y + 5), line, "end")
        sheet.join(f"connector {line}, in the box: {named(pin)}")
    sheet.text((88, BUS_Y - 10), "4 connectors in the box")
    sheet.text((424, BUS_Y - 10), "cable, four cores")
    sheet.text((1020, BUS_Y - 6), "4 connectors at the bunk", "end")
    sheet.join("the cable to the bunk, four cores, 60 cm: from each connector in the "
               "box to the same one at the bunk")  # fmt: skip
    wide, apart = 150.0, 188.0
    for number, (name, kind) in enumerate(on_bus()):
        x, y = 88 + apart * number, BUS_Y + 120
        sheet.block((x, y), (wide, 80), "")
        sheet.text((x + wide / 2, y + 44), name, "middle")
        sheet.text((x + wide / 2, y + 62), kind, "middle")
        for lane, (line, above) in enumerate(zip(LINES, ys, strict=True)):
            at = x + 22 + 34 * lane
            sheet.wire((at, above), (at, y))
            sheet.dot((at, above))
            short = {"3.3 V": "VDD"}.get(line, line)
            sheet.text((at, y + 18), short, "middle")
        where = "in the box" if kind in IN_BOX else "at the bunk"
        sheet.join(f"`{name}`, {kind}: VDD, SDA, SCL and GND at the four connectors "
                   f"{where}")  # fmt: skip
    sheet.join("SDO of `baro`, where its board brings it out: its own GND, for 0x76")
    sheet.join("A0 and A1 of `battery`, where its board brings them out: its own GND, "
               "for 0x40")  # fmt: skip
    sheet.join("10 µF: on the board of `bunk-co2`, across VDD and GND, its plus at VDD")


def _battery(sheet: Sheet) -> None:
    y, minus = 760.0, 860.0
    sheet.legs("cell", (50, y), (50, minus), "")
    sheet.text((20, y - 14), "12 V")
    sheet.wire((50, y), (80, y))
    sheet.legs("fuse", (80, y), (180, y), "main fuse")
    sheet.legs("resistor", (240, y), (360, y), "")
    sheet.text((300, y + 32), "shunt", "middle")
    sheet.wire((180, y), (240, y))
    sheet.legs("fuse", (400, y), (500, y), "F1, 2 A slow", beside=(0, 52))
    sheet.wire((360, y), (400, y))
    sheet.legs("diode", (500, y), (600, y), "")
    sheet.text((550, y + 30), "D4, 1N5822", "middle")
    sheet.legs("suppressor", (614, minus), (614, y), "D5, P6KE18A")
    sheet.legs("capacitor", (745, y), (745, minus), "C4, 2200 µF")
    sheet.wire((600, y), (860, y))
    sheet.wire((50, minus), (860, minus))
    sheet.block((860, y - 24), (150, 148), "converter")
    sheet.text((935, y + 26), "5.1 V by a USB", "middle")
    sheet.text((935, y + 44), "lead to the Pi's", "middle")
    sheet.text((935, y + 62), "power socket", "middle")
    sheet.wire((820, y), (820, y - 38), (832, y - 38))
    sheet.text((838, y - 33), "plus of the sounders, 12 V")
    sheet.wire((820, minus), (820, minus + 24))
    sheet.text((814, minus + 28), "minus of the sounders", "end")
    sheet.wire((380, y), (380, y + 60))
    sheet.text((388, y + 66), "other loads, charger")
    number = [kind for _, kind in on_bus()].index("ina226")
    board = 88 + 188.0 * number
    for at, to, label in ((board + 40, 240.0, "IN-"), (board + 110, 360.0, "IN+")):
        turn = 714.0 if label == "IN-" else 694.0
        sheet.wire((at, BUS_Y + 200), (at, turn), (to, turn))
        sheet.legs("fuse", (to, turn), (to, y), "")
        sheet.text((at + 6, BUS_Y + 216), label)
    sheet.text((228, y - 16), "F2, 0.5 A", "end")
    sheet.text((376, y - 26), "F3, 0.5 A")
    sheet.dot((240, y), (360, y), (380, y), (820, y), (614, y), (614, minus))
    sheet.dot((745, y), (745, minus), (820, minus))
    sheet.join("the battery's plus: the main fuse, then the shunt, then F1, 2 A "
               "slow, then D4, 1N5822, then the converter")  # fmt: skip
    sheet.join(LOADS)
    sheet.join("`battery`: IN- by F2, 0.5 A, at the shunt's battery side, IN+ by F3, "
               "0.5 A, at its far side; VBUS, where brought out: at IN-")  # fmt: skip
    sheet.join("D5, P6KE18A, and C4, 2200 µF: across the converter's input")
    sheet.join("the battery's minus: the converter's minus, which is the Pi's too")
    sheet.join("the converter's 5.1 V: by a USB lead to the Pi's power socket")


def shown() -> str:
    """Return what the page shows of it: the picture, and its wires to tick."""
    return "".join(_shown())


def _shown() -> Iterator[str]:
    sheet = wiring()
    yield f"\n![{sheet.title}](tests/pictures/building/wiring.svg)\n"
    yield "\nConnect, and tick each wire:\n\n"
    yield from (f"- [ ] {joint}\n" for joint in sheet.joints)
    yield "\n"
