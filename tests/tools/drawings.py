"""Draws what hardware.md shows, from the parts' own tables: run after changing a part.

`python -m tests.tools.drawings` puts every drawing between its marks in hardware.md,
and the pictures of circuits and places into tests/pictures/building.  Each picture has
the same in words below it, for terminals; a test holds the page to these drawings.
"""

import csv
import math
import re
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from pathlib import Path

from cabinvigil import drivers
from cabinvigil.daemon.precheck.supply import COLD_SHARE, KEPT_SHARE, LEAD_ACID
from cabinvigil.daemon.settings.limit_sources import limit_sources
from cabinvigil.drivers.kit.steps import PartInfo
from tests.tools import circuits, orders, usual
from tests.tools import places as cabin
from tests.tools.wiring_plan import (
    BUSES,
    CLOCK,
    PORTS,
    USED_PINS,
    address_plan,
    on_i2c,
    others_there,
)

PAGE = Path(__file__).parents[2] / "hardware.md"
PICTURES = PAGE.parent / "tests/pictures/building"
MARKS = re.compile(r"(<!-- drawn: ([a-z-]+) -->\n).*?(<!-- end -->)", re.DOTALL)

DRAW_MA = {
    # Mean at 5 V while it watches, and where the figure is from.
    "bme280": (0.1, "unverified"),
    "bmp280": (0.1, "unverified"),
    "bmp390": (0.1, "unverified"),
    "co_cell_ads1115": (1.0, "unverified, with its amplifier"),
    "co_named_i2c": (5.0, "unverified"),
    "co_named_line": (5.0, "unverified"),
    "contact": (0.3, "our calculation: 3.3 V over 10 kΩ while it is closed"),
    "ds18b20": (0.2, "unverified; 1.5 while it converts"),
    "frame9_co": (10.0, "the family's sheet: below 10 (ZE03)"),
    "frame9_co2": (40.0, "data sheet: below 40, peaks of 125 (sensor notes, 12)"),
    "frame9_gas": (85.0, "unverified: its lamp, peaks of 150"),
    "frame9_o2": (10.0, "unverified, as its sister's"),
    "ina219": (0.7, "unverified"),
    "ina226": (0.4, "unverified"),
    "modbus_co2": (40.0, "a maker's sheet: 40; peaks of 300 (unverified)"),
    "ina228": (0.6, "unverified"),
    "max17048": (0.1, "unverified; from its cell"),
    "gas_bead_ads1115": (90.0, "data sheet: 90 at 2.8 V (MC113)"),
    "o2_amplified_ads1115": (2.0, "unverified, with its amplifier"),
    "o2_cell_ads1115": (0.5, "unverified; the cell itself gives, and takes nothing"),
    "o2_key_register": (5.0, "unverified"),
    "o2_optical_line": (7.5, "data sheet: below 7.5, peaks of 20 (sensor notes, 11)"),
    "pm_frame": (100.0, "unverified: its fan and laser"),
    "scd30": (19.0, "a public driver quotes the sheet: every 2 s; peaks of 75"),
    "pmsa003i": (100.0, "unverified: its fan and laser"),
    "scd4x": (18.0, "unverified, measuring every 5 s; peaks of 200"),
    "sen6x": (65.0, "unverified, a SEN66; peaks of 350 at 3.3 V"),
    "sgp41": (3.0, "SGP40 data sheet v1.0, table 2: 2.6 typical"),
    "sht3x": (0.1, "unverified"),
    "sht4x": (0.1, "unverified"),
    "sps30": (60.0, "data sheet as quoted publicly"),
    "stcc4": (1.0, "data sheet, table 3: 0.95; peaks of 4"),
    "tmp117": (0.1, "unverified"),
}
"""Of each kind of part."""
ADAPTER, CLOCK_CHIP = "USB adapter, each", "clock chip"
LIGHT = "light, a flash every 15 s"
PI = "small Pi with Wi-Fi and the monitor"
BESIDE_MA = {
    PI: (
        200.0,
        "120 idle by a public measurement of a Zero 2 W; the rest is our estimate",
    ),
    "a Pi 4": (700.0, "unverified, at rest with Wi-Fi: 500 to 900"),
    "a Pi 5": (800.0, "unverified, at rest with Wi-Fi: 600 to 1000"),
    ADAPTER: (15.0, "unverified"),
    CLOCK_CHIP: (0.3, "unverified"),
    LIGHT: (0.1, "3 mA by its resistor, our calculation"),
    "sounder, while it sounds": (150.0, "its sheet; 30 to 500 are usual (unverified)"),
    "bed shaker, while it shakes": (500.0, "its sheet; unverified"),
}
"""Of what is no part, likewise."""
USUAL = (
    *("o2_optical_line", "frame9_co", "scd4x", "sht4x", "bme280", "ina226", "ds18b20"),
    *(ADAPTER, CLOCK_CHIP, LIGHT),
)
THOROUGH = (
    *("o2_cell_ads1115", "tmp117", "sps30", "sgp41", "frame9_gas", "contact", ADAPTER),
)
"""What the two builds of the page have, the second beside the first."""
STANDARD = re.compile(
    r"(?:ISA|ANSI|AS/NZS|ASHRAE|BS|EN ISO|EN|IEC|ISO|NFPA|PD|UL)[ -]"
    r"[A-Z]?\d[\d.]*(?:-\d+)*"
)
"""How a standard's number is written; ISA-18.2 has a hyphen before it."""
STATUS = {"from memory": "unverified"}
"""A status of config/limits.toml, in the words of the page."""
LITHIUM_V = ((13.35, 1.0), (13.2, 0.75), (13.1, 0.5), (13.0, 0.25), (12.0, 0.0))
"""Volts at rest and charge (unverified): so flat that they tell little."""
CONVERTER_SHARE = 0.85
"""Of the power that comes out of a fair 12 V to 5 V converter; common practice."""
BATTERY_V, BATTERY_AH = 12.0, 12.0
USABLE_SHARE = 1.0 - KEPT_SHARE
NIGHT_H = 9.0

PILLOW_DBA = 75.0
"""Thomas & Bruck: 75 dBA at 520 Hz woke over nine in ten (check values, sound)."""
BLANKET_DB = 10.0
"""That a blanket, a hood or an ear on the pillow takes (common practice)."""
PULL_UP_PI_OHM = 1800.0
"""On the board of every Pi with 40 pins (public schematics and pin-outs)."""
LEAST_PULL_UP_OHM = (3.3 - 0.4) / 0.003
"""I2C specification UM10204, section 7.1: 0.4 V low at 3 mA."""
BOARD_PULL_UPS_OHM = (10_000.0, 4_700.0)


def infos() -> dict[str, PartInfo]:
    """Return every part's table, by its word in the config."""
    return {kind: drivers.part(kind) for kind in sorted(drivers.REGISTRY)}


def table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Draw a Markdown table."""
    lines = [heads, ["---"] * len(heads), *rows]
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def framed(lines: Iterable[str]) -> str:
    """Draw text as a terminal shows it."""
    body = "".join(f"{line.rstrip()}\n" for line in lines)
    return f"```text\n{body}```\n"


def header() -> str:
    """Draw the upper half of the Pi's header, seen from above."""
    lines = [f"{'use':>22}  {'name':>6}  pin   pin  {'name':<7} use"]
    for left in range(1, 20, 2):
        (name, use), (other, other_use) = USED_PINS[left], USED_PINS[left + 1]
        pins = f"({left:2}) . ({left + 1:2})"
        lines.append(f"{use:>22}  {name:>6}  {pins}  {other:<7} {other_use}")
    return framed([*lines, f"{'':32}pins 21 to 40: free"])


def addresses() -> str:
    """Draw the address plan of the I2C bus."""
    rows = []
    known = on_i2c()
    for kind, (address, how) in address_plan(known).items():
        could = known[kind].addresses
        span = f"0x{could[0]:02x}" + (f" to 0x{could[-1]:02x}" if could[1:] else "")
        others = others_there(kind, known)
        rows.append((f"0x{address:02x}", f"`{kind}`", how, span, others))
    clock, at = CLOCK
    fixed = f"0x{at:02x}"
    rows.append((fixed, f"`{clock}`, the clock", "fixed", fixed, "-"))
    rows.sort(key=lambda row: row[0])
    heads = ("address", "sensor", "how it is set", "can have", "others there")
    return table(heads, rows)


def parts() -> str:
    """Draw the parts at a glance."""
    rows = []
    for kind, info in infos().items():
        wire = {
            "i2c": "I2C",
            "serial": f"serial, {info.baud}",
            "file": "1-wire",
            "line": "line",
        }
        low, high = info.range_c
        rows.append(
            (
                f"[`{kind}`](#{kind})",
                info.title,
                wire[info.bus],
                f"{info.warm_up_s:g} s",
                f"{low:g} to {high:g}",
                _life(info),
            )
        )
    heads = ("kind", "what it is", "wire", "warm after", "works at, °C", "life")
    return table(heads, rows)


def _life(info: PartInfo) -> str:
    return f"{info.service_years:g} years" if info.service_years else "none named"


def service() -> str:
    """Draw the sheet to copy and hang up: only what wears is on it."""
    rows = [
        (f"`{kind}`", f"{info.service_years:g} years", "", "", "")
        for kind, info in infos().items()
        if info.service_years
    ]
    rows.sort(key=lambda row: float(row[1].split()[0]))
    heads = (
        "sensor",
        "replace after",
        "name and place",
        "in service since",
        "replace on",
    )
    return table(heads, rows)


def buses() -> str:
    """Draw the ways to a further I2C bus."""
    pins = {name: pin for pin, name in header_pins().items()}
    rows = [
        (
            what,
            f"`dtoverlay={overlay}`",
            " to ".join(f"`{one}`" for one in devices.split(" to ")),
            *(f"{name}, pin {pins[name]}" for name in names),
            beside,
        )
        for what, overlay, devices, names, beside in BUSES
    ]
    heads = ("for", "line in `config.txt`", "bus", "SDA", "SCL", "not beside")
    return table(heads, rows)


def ports() -> str:
    """Draw the header's further serial ports."""
    pins = {name: pin for pin, name in header_pins().items()}
    rows = [
        (
            board,
            f"`dtoverlay={overlay}`",
            f"`{device}`",
            *(f"{name}, pin {pins[name]}" for name in names),
            shared,
        )
        for board, overlay, device, names, shared in PORTS
    ]
    heads = ("board", "line in `config.txt`", "port", "TXD", "RXD", "not beside")
    return table(heads, rows)


def header_pins() -> dict[int, str]:
    """Return what lies on each of the 40 pins, by the boards' own table."""
    with (PAGE.parent / "tests/data/pi_header/pins.csv").open() as file:
        return {int(row["pin"]): row["name"] for row in csv.DictReader(file)}


def draws() -> str:
    """Draw what each part takes, and where that figure is from."""
    rows = [
        (f"`{kind}`", f"{ma:g} mA", why) for kind, (ma, why) in sorted(DRAW_MA.items())
    ]
    rows += [(what, f"{ma:g} mA", why) for what, (ma, why) in BESIDE_MA.items()]
    return table(("what", "mean, at 5 V", "from"), rows)


def charges() -> str:
    """Draw a lead battery's volts as `precheck` reads them, beside a LiFePO4's."""
    rows = [
        (f"{share:.0%}".replace("%", " %"), f"{volts:g} V", f"{lithium:g} V")
        for (volts, share), (lithium, other) in zip(
            reversed(LEAD_ACID), LITHIUM_V, strict=True
        )
        if share == other
    ]
    heads = ("charge", "12 V lead battery", "12.8 V LiFePO4, of four cells")
    return table(heads, rows)


def power() -> str:
    """Work out the current of two builds, and how long a battery lasts."""
    known = {what: ma for what, (ma, _) in (DRAW_MA | BESIDE_MA).items()}
    usual = known[PI] + sum(known[what] for what in USUAL)
    thorough = usual + sum(known[what] for what in THOROUGH)
    lines = [f"{PI:<36}{known[PI]:7.1f} mA at 5 V"]
    lines += [f"{what:<36}{known[what]:7.1f} mA" for what in USUAL]
    lines += [f"{'the usual build':<36}{usual:7.1f} mA"]
    lines += [f"{what:<36}{known[what]:7.1f} mA more" for what in THOROUGH]
    lines += [f"{'the thorough build':<36}{thorough:7.1f} mA", ""]
    usable_ah = BATTERY_AH * USABLE_SHARE * COLD_SHARE
    lines.append(
        f"{BATTERY_AH:g} Ah x {USABLE_SHARE:g} usable x {COLD_SHARE:g} in the cold"
        f" = {usable_ah:.1f} Ah"
    )
    for name, ma in (("usual", usual), ("thorough", thorough)):
        draw_a = ma / 1000 * 5.0 / CONVERTER_SHARE / BATTERY_V
        lines.append(
            f"{name:<9}{ma / 1000 * 5.0:.2f} W, {draw_a * 1000:.0f} mA at 12 V, "
            f"{draw_a * NIGHT_H:.1f} Ah a night of {NIGHT_H:g} h, "
            f"{usable_ah / draw_a:.0f} h in all"
        )
    return framed(lines)


def needed_dba(distance_m: float, stated_at_m: float, lost_db: float = 0.0) -> float:
    """Return the level that a sounder's sheet must state, by the inverse square law."""
    return PILLOW_DBA + lost_db + 20 * math.log10(distance_m / stated_at_m)


def loudness() -> str:
    """Work out what a sounder's sheet must say for 75 dBA at the pillow."""
    rows = [
        (
            f"{far:g} m",
            *(
                f"{needed_dba(far, at, lost):.0f} dBA"
                for lost in (0.0, BLANKET_DB)
                for at in (1.0, 0.1)
            ),
        )
        for far in (0.3, 0.5, 1.0, 1.5, 2.0)
    ]
    under = ("under a blanket, at 1 m", "under a blanket, at 10 cm")
    heads = ("sounder to pillow", "sheet states it at 1 m", "at 10 cm", *under)
    return table(heads, rows)


def together_ohm(boards: int, each_ohm: float) -> float:
    """Return what the Pi's pull-up and those of some boards make in parallel."""
    return 1 / (1 / PULL_UP_PI_OHM + boards / each_ohm)


def pull_ups() -> str:
    """Work out how many boards with pull-ups of their own one bus bears."""
    rows = []
    for boards in range(6):
        cells = [str(boards)]
        for each_ohm in BOARD_PULL_UPS_OHM:
            ohm = together_ohm(boards, each_ohm)
            verdict = "good" if ohm >= LEAST_PULL_UP_OHM else "too strong"
            cells.append(f"{ohm:.0f} Ω, {verdict}")
        rows.append(cells)
    return table(("boards", "with 10 kΩ each", "with 4.7 kΩ each"), rows)


def standards() -> str:
    """Draw every standard that is named here, with its edition: one table of them."""
    _, documents = limit_sources()
    named = [one for one in documents.values() if STANDARD.match(one.title)]
    rows = [
        (one.title, one.edition, one.date, STATUS.get(one.status, one.status))
        for one in sorted(named, key=lambda one: one.title)
    ]
    return table(("standard", "edition", "of", "how it is known"), rows)


def places() -> str:
    """Draw the table of where each thing goes, with the picture's numbers."""
    return table(("no.", "what", "where", "why"), cabin.rows())


DRAWINGS: dict[str, Callable[[], str]] = {
    "standards": standards,
    "buses": buses,
    "header": header,
    "ports": ports,
    "draws": draws,
    "charges": charges,
    "addresses": addresses,
    "parts": parts,
    "places": places,
    "service": service,
    "power": power,
    "loudness": loudness,
    "pull-ups": pull_ups,
    "orders": orders.orders,
    "wiring": usual.shown,
    **{name: partial(circuits.shown, name) for name in circuits.CIRCUITS},
}


def pictures() -> dict[str, str]:
    """Return the page's pictures as SVG, by the names of their files."""
    drawn = {f"{name}.svg": draw().svg() for name, draw in circuits.CIRCUITS.items()}
    drawn["wiring.svg"] = usual.wiring().svg()
    return {"places.svg": cabin.picture(), **drawn}


def redrawn(text: str) -> str:
    """Return the page with every drawing made anew.

    Raises:
        KeyError: a mark names no drawing.
    """
    return MARKS.sub(lambda mark: mark[1] + DRAWINGS[mark[2]]() + mark[3], text)


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    for file, svg in pictures().items():
        (PICTURES / file).write_text(svg, encoding="utf-8")
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
