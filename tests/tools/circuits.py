"""The circuits of hardware.md: each drawn, and each joint a line to tick.

`python -m tests.tools.drawings` puts the pictures into tests/pictures/building and the
lists into the page.  Header pins are those of the wiring plan, so that neither drawing
nor list can name another.
"""

from collections.abc import Callable

from tests.tools.sheet import Sheet
from tests.tools.wiring_plan import CONTACT_LINE, USED_PINS

LOADS = (
    "the plus of charger, solar regulator and all other loads: the shunt's far side, "
    "each by a fuse of its own; their minus: the battery's minus"
)
"""So that the battery monitor sees all that goes in and out."""


def pin(use: str) -> str:
    """Return the line whose use begins with a word, and its pin: `GPIO17, pin 11`."""
    ((number, name),) = [
        (number, name)
        for number, (name, what) in USED_PINS.items()
        if what.startswith(use)
    ]
    return f"{name}, pin {number}"


def driver() -> Sheet:
    """Draw what switches a sounder."""
    line = pin("sounder")
    sheet = Sheet("A sounder behind a transistor", 760, 290)
    sheet.text((300, 24), "+5 V or +12 V", "middle")
    sheet.wire((300, 32), (300, 48), (390, 48))
    sheet.legs("sounder", (300, 48), (300, 128), "")
    sheet.text((268, 92), "sounder", "end")
    sheet.legs("diode", (390, 128), (390, 48), "D1: if it has a coil")
    sheet.wire((300, 128), (390, 128))
    sheet.dot((300, 48), (300, 128))
    sheet.wire((300, 128), (300, 154))
    sheet.transistor((266, 188), "Q1: NPN")
    sheet.wire((300, 222), (300, 262))
    sheet.text((110, 193), line, "end")
    sheet.legs("resistor", (120, 188), (216, 188), "R1")
    sheet.wire((216, 188), (266, 188))
    sheet.legs("resistor", (216, 188), (216, 262), "R2, 10 kΩ", beside=(-122, 0))
    sheet.dot((216, 188), (216, 262))
    sheet.wire((120, 262), (300, 262))
    sheet.text((110, 267), "GND", "end")
    sheet.transistor((560, 188), "Q1: N-MOSFET", is_mosfet=True)
    sheet.need("sounder", "transistor with resistor and diode, by the sounder's draw")
    sheet.text((470, 193), "or instead:")
    sheet.text((604, 160), "drain: as the collector")
    sheet.text((604, 222), "source: as the emitter")
    sheet.join(f"R1: {line}, to Q1's base (gate)")
    sheet.join("R2, 10 kΩ: Q1's base (gate) to GND; it keeps the sounder silent "
               "while the Pi starts")  # fmt: skip
    sheet.join("Q1's emitter (source): the converter's minus; of a sounder for 5 V: "
               "GND, pin 25")  # fmt: skip
    sheet.join("Q1's collector (drain): the sounder's minus")
    sheet.join("the sounder's plus: 12 V at the converter's input, or 5 V at pin 4")
    sheet.join("D1, if the sounder has a coil: across it, its stripe at the plus")
    return sheet


def light_button() -> Sheet:
    """Draw the light, and the button with what a long lead needs."""
    light, button = pin("light"), pin("button")
    sheet = Sheet("The light and the button", 760, 270)
    sheet.text((120, 55), light, "end")
    sheet.legs("resistor", (130, 50), (230, 50), "R3, 470 Ω")
    sheet.legs("led", (230, 50), (330, 50), "")
    sheet.text((280, 86), "LED", "middle")
    sheet.wire((330, 50), (390, 50))
    sheet.text((400, 55), "GND")
    sheet.text((120, 175), button, "end")
    sheet.wire((130, 170), (420, 170))
    sheet.legs("switch", (420, 170), (520, 170), "button")
    sheet.wire((520, 170), (560, 170))
    sheet.text((570, 175), "GND")
    sheet.legs("resistor", (220, 110), (220, 170), "R4, 10 kΩ")
    sheet.text((220, 103), "3.3 V", "middle")
    sheet.legs("capacitor", (320, 170), (320, 230), "C1, 100 nF")
    sheet.text((320, 250), "GND", "middle")
    sheet.dot((220, 170), (320, 170))
    sheet.need("LED", "push button")
    sheet.text((430, 225), "R4 and C1: on a long lead, at the Pi's end")
    sheet.join(f"R3, 470 Ω: {light}, to the LED's longer leg: about 3 mA")
    sheet.join("the LED's shorter leg: GND, pin 20")
    sheet.join(f"one side of the button: {button}; the other side: GND, pin 20")
    sheet.join("R4, 10 kΩ, on a long lead: connector 3.3 V to the button's line")
    sheet.join("C1, 100 nF, on a long lead: the button's line to GND")
    return sheet


def chain() -> Sheet:
    """Draw the way from the battery to the Pi."""
    sheet = Sheet("From the battery to the Pi", 820, 240)
    sheet.legs("cell", (60, 70), (60, 190), "")
    sheet.text((10, 120), "12 V")
    sheet.wire((60, 70), (60, 50), (90, 50))
    sheet.legs("fuse", (90, 50), (190, 50), "F1, 2 A slow")
    sheet.legs("diode", (190, 50), (310, 50), "D4, 1N5822")
    sheet.wire((310, 50), (600, 50))
    sheet.legs("suppressor", (336, 190), (336, 50), "D5, P6KE18A")
    sheet.legs("capacitor", (474, 50), (474, 190), "C4, 2200 µF")
    sheet.text((500, 144), "35 V or more")
    sheet.wire((60, 190), (600, 190))
    sheet.dot((336, 50), (336, 190), (474, 50), (474, 190))
    sheet.need("converter, 12 V to 5.1 V, 3 A")
    sheet.block((600, 30), (120, 180), "converter")
    sheet.text((660, 110), "12 V to", "middle")
    sheet.text((660, 130), "5.1 V, 3 A", "middle")
    sheet.wire((720, 50), (760, 50))
    sheet.wire((720, 190), (760, 190))
    sheet.text((766, 55), "5 V")
    sheet.text((766, 195), "GND")
    sheet.text((90, 84), "a hand from the plus")
    sheet.join("F1, 2 A slow: the battery's plus to D4, within a hand's breadth of the "
               "plus")  # fmt: skip
    sheet.join("with a battery monitor: the main fuse and its shunt come before F1")
    sheet.join("D4, 1N5822: F1 to the converter's plus, its stripe at the converter")
    sheet.join("D5, P6KE18A: across the converter's input, its stripe at the plus")
    sheet.join("C4, 2200 µF: across the converter's input, its minus at the minus")
    sheet.join("the battery's minus: the converter's minus, which is the Pi's too")
    sheet.join("the converter's 5.1 V: by a USB lead to the Pi's power socket")
    return sheet


def pump() -> Sheet:
    """Draw the sounder that starts when the light's edges end."""
    light = pin("light")
    sheet = Sheet("A sounder for a dead Pi", 920, 360)
    sheet.text((126, 205), light, "end")
    sheet.legs("resistor", (136, 200), (226, 200), "R8, 330 Ω")
    sheet.legs("capacitor", (226, 200), (306, 200), "C2, 10 µF")
    sheet.legs("diode", (306, 330), (306, 200), "D3, 1N4148")
    sheet.legs("diode", (306, 200), (410, 200), "D2, 1N4148")
    sheet.wire((410, 200), (666, 200))
    sheet.legs("capacitor", (440, 200), (440, 330), "C3, 10 µF")
    sheet.legs("resistor", (556, 200), (556, 330), "R9, 10 MΩ")
    sheet.transistor((666, 200), "Q3, ZVNL110A", is_mosfet=True)
    sheet.wire((700, 234), (700, 330))
    sheet.wire((700, 166), (700, 120))
    sheet.legs("resistor", (700, 24), (700, 120), "R10, 1 MΩ", beside=(-112, 0))
    sheet.wire((700, 120), (766, 120))
    sheet.transistor((766, 120), "Q4, 2N7000", is_mosfet=True)
    sheet.legs("sounder", (800, 24), (800, 86), "sounder")
    sheet.wire((800, 154), (800, 330))
    sheet.wire((136, 330), (850, 330))
    sheet.wire((700, 24), (850, 24))
    sheet.need("piezo sounder, 3 to 15 V", "9 V block with its clip")
    sheet.text((856, 29), "9 V +")
    sheet.text((856, 335), "9 V −")
    sheet.text((126, 335), "Pi GND", "end")
    sheet.dot((306, 200), (306, 330), (440, 200), (440, 330), (556, 200), (556, 330))
    sheet.dot((700, 120), (800, 24), (700, 330), (800, 330))
    sheet.join(f"R8, 330 Ω: {light}, beside the LED's resistor, to C2")
    sheet.join("C2, 10 µF, film or X7R: R8 to D2 and D3")
    sheet.join("D2, 1N4148: C2 to Q3's gate, its stripe at the gate")
    sheet.join("D3, 1N4148: the Pi's GND to C2, its stripe at C2")
    sheet.join("C3, 10 µF, film or X7R: Q3's gate to the Pi's GND")
    sheet.join("R9, 10 MΩ: Q3's gate to the Pi's GND")
    sheet.join("Q3, ZVNL110A: source to the 9 V block's minus, drain to Q4's gate")
    sheet.join("R10, 1 MΩ: the 9 V block's plus to Q4's gate")
    sheet.join(
        "Q4, 2N7000: source to the 9 V block's minus, drain to the sounder's minus"
    )
    sheet.join("the piezo sounder's plus, 3 to 15 V: the 9 V block's plus")
    sheet.join("the 9 V block's minus: the Pi's GND")
    return sheet


def sense() -> Sheet:
    """Draw what hears the sounder's switched side."""
    line = pin("sense")
    sheet = Sheet("Whether the sounder is driven", 760, 250)
    sheet.text((150, 115), "sounder, switched side", "end")
    sheet.legs("resistor", (160, 110), (270, 110), "R5, 100 kΩ")
    sheet.wire((270, 110), (330, 110))
    sheet.legs("resistor", (280, 110), (280, 210), "R6, 100 kΩ", beside=(-124, 0))
    sheet.transistor((330, 110), "Q2, 2N3904")
    sheet.wire((364, 144), (364, 210))
    sheet.wire((364, 76), (364, 50), (540, 50))
    sheet.legs("resistor", (540, 50), (640, 50), "R7, 10 kΩ")
    sheet.text((648, 55), "3.3 V")
    sheet.wire((520, 50), (520, 150))
    sheet.text((520, 168), line, "middle")
    sheet.wire((160, 210), (364, 210))
    sheet.text((150, 215), "GND", "end")
    sheet.dot((280, 110), (280, 210), (520, 50))
    sheet.join("R5, 100 kΩ: the sounder's switched side to Q2's base")
    sheet.join("R6, 100 kΩ: Q2's base to GND")
    sheet.join("Q2, 2N3904: emitter to GND")
    sheet.join(f"Q2's collector: {line}")
    sheet.join("R7, 10 kΩ: Q2's collector to 3.3 V")
    return sheet


def cells() -> Sheet:
    """Draw an oxygen cell and a carbon monoxide cell on their converters."""
    sheet = Sheet("Bare cells and their converters", 800, 260)
    sheet.legs("cell", (60, 70), (60, 190), "")
    sheet.text((20, 40), "galvanic O2 cell")
    sheet.wire((60, 70), (250, 70))
    sheet.wire((60, 190), (250, 190))
    sheet.legs("resistor", (130, 70), (130, 190), "load, 10 to")
    sheet.text((156, 155), "100 kΩ")
    sheet.wire((200, 190), (200, 222))
    sheet.text((200, 240), "GND", "middle")
    sheet.dot((130, 70), (130, 190), (200, 190))
    sheet.block((250, 20), (110, 200), "ADS1115")
    sheet.text((258, 75), "A0")
    sheet.text((258, 195), "A1")
    sheet.text((258, 135), "3.3 V, GND")
    sheet.block((430, 20), (150, 200), "CO cell's amplifier")
    sheet.block((650, 20), (110, 200), "ADS1115")
    for y, out, into in ((90, "out", "A0"), (130, "ref", "A1"), (190, "GND", "GND")):
        sheet.wire((580, y), (650, y))
        sheet.text((572, y + 5), out, "end")
        sheet.text((658, y + 5), into)
    sheet.join("the load, 10 to 100 kΩ: across the O2 cell, for good")
    sheet.join("the O2 cell's plus: A0; its minus: A1 and GND")
    sheet.join("the CO amplifier's out: A0; its ref: A1; its GND: GND")
    sheet.join("the converter's VDD and GND: 3.3 V and GND")
    sheet.join("a second cell on the same converter: A2 and A3 in place of A0 and A1")
    return sheet


def loop() -> Sheet:
    """Draw a contact whose wire is supervised."""
    sheet = Sheet("A contact with its end-of-line resistor", 800, 270)
    sheet.text((60, 45), "3.3 V", "middle")
    sheet.legs("resistor", (60, 55), (60, 110), "R11, 10 kΩ")
    sheet.wire((60, 110), (420, 110))
    sheet.wire((210, 110), (210, 70))
    sheet.text((210, 60), "ADS1115, A3", "middle")
    sheet.wire((330, 110), (330, 70))
    sheet.text((330, 60), CONTACT_LINE, "middle")
    sheet.wire((420, 110), (520, 110), dashed=True)
    sheet.wire((420, 220), (520, 220), dashed=True)
    sheet.text((470, 170), "the wire", "middle")
    sheet.block((520, 30), (260, 220), "the alarm's relay box")
    sheet.legs("resistor", (520, 110), (600, 110), "R12, 1 kΩ")
    sheet.wire((600, 110), (690, 110))
    sheet.legs("resistor", (600, 110), (600, 220), "R13", beside=(-4, -10))
    sheet.text((622, 178), "47 kΩ")
    sheet.need("resistor 47 kΩ")
    sheet.legs("switch", (690, 110), (690, 220), "contact")
    sheet.wire((520, 220), (690, 220))
    sheet.wire((60, 220), (420, 220))
    sheet.text((50, 225), "GND", "end")
    sheet.dot((60, 110), (210, 110), (330, 110), (600, 110), (600, 220))
    sheet.join(f"R11, 10 kΩ: 3.3 V to {CONTACT_LINE}, at the Pi")
    sheet.join(
        f"{CONTACT_LINE}: also to the ADS1115's A3, and to the wire's first lead"
    )
    sheet.join("the wire's second lead: GND, at the Pi")
    sheet.join("R12, 1 kΩ, in the relay's box: the first lead to R13 and the contact")
    sheet.join("R13, 47 kΩ, in the relay's box: across the contact")
    sheet.join("the contact's other side: the second lead")
    return sheet


def beads() -> Sheet:
    """Draw the bridge of two catalytic beads."""
    sheet = Sheet("Catalytic beads in their bridge", 640, 270)
    sheet.text((16, 60), "+ 2.0 to 2.8 V")
    sheet.text((16, 240), "minus")
    sheet.wire((110, 55), (280, 55))
    sheet.wire((110, 235), (440, 235))
    sheet.legs("resistor", (150, 55), (150, 125), "bead 1")
    sheet.legs("resistor", (150, 125), (150, 235), "bead 2")
    sheet.legs("resistor", (280, 55), (280, 105), "R14")
    sheet.wire((280, 105), (280, 165))
    sheet.legs("resistor", (280, 165), (280, 235), "R15")
    sheet.over((150, 125), (280, 125), (440, 125))
    sheet.wire((280, 165), (440, 165))
    sheet.dot((150, 125), (280, 165), (150, 55), (150, 235), (280, 235))
    sheet.block((440, 60), (130, 190), "ADS1115")
    sheet.text((448, 130), "first input")
    sheet.text((448, 170), "second input")
    sheet.text((448, 240), "GND")
    sheet.join("bead 1 and bead 2: in series from the bridge's plus to its minus")
    sheet.join("R14 and R15, equal: in series beside them")
    sheet.join("the middle of the beads: the converter's first input")
    sheet.join("the middle of the resistors: its second input")
    sheet.join("the bridge's minus: its GND")
    return sheet


def shunt() -> Sheet:
    """Draw the shunt in the battery's plus lead."""
    sheet = Sheet("The battery monitor's shunt", 760, 250)
    sheet.legs("cell", (50, 60), (50, 210), "")
    sheet.wire((50, 60), (50, 50), (80, 50))
    sheet.legs("fuse", (80, 50), (190, 50), "main fuse")
    sheet.wire((190, 50), (230, 50))
    sheet.legs("resistor", (230, 50), (390, 50), "shunt")
    sheet.wire((390, 50), (560, 50))
    sheet.text((568, 55), "charger and loads, plus")
    sheet.legs("fuse", (230, 50), (230, 140), "F2, 0.5 A")
    sheet.legs("fuse", (390, 50), (390, 140), "F3, 0.5 A")
    sheet.block((200, 140), (230, 60), "")
    sheet.text((230, 158), "IN-", "middle")
    sheet.text((390, 158), "IN+", "middle")
    sheet.text((310, 186), "battery monitor", "middle")
    sheet.wire((50, 210), (50, 225), (560, 225))
    sheet.wire((310, 200), (310, 225))
    sheet.need("shunt, 75 mV at 50 A", "main fuse, 30 A")
    sheet.text((568, 230), "minus")
    sheet.dot((230, 50), (390, 50), (310, 225))
    sheet.join("the shunt: in the plus lead, behind the main fuse")
    sheet.join("F2, 0.5 A, at the shunt: its battery side to IN-")
    sheet.join("F3, 0.5 A, at the shunt: its far side to IN+")
    sheet.join(LOADS)
    sheet.join("the board's GND: that of the Pi, which is the battery's minus")
    sheet.join("VBUS, if brought out: IN-")
    sheet.join("A0 and A1, if brought out: GND, for 0x40")
    return sheet


CIRCUITS: dict[str, Callable[[], Sheet]] = {
    "driver": driver,
    "light-button": light_button,
    "chain": chain,
    "pump": pump,
    "sense": sense,
    "cells": cells,
    "loop": loop,
    "beads": beads,
    "shunt": shunt,
}


def shown(name: str) -> str:
    """Return what the page shows of one: its picture, and its joints to tick."""
    sheet = CIRCUITS[name]()
    joints = "".join(f"- [ ] {joint}\n" for joint in sheet.joints)
    picture = f"![{sheet.title}](tests/pictures/building/{name}.svg)"
    return f"\n{picture}\n\nSolder, and tick each joint:\n\n{joints}\n"
