"""Draws what hardware.md shows, from the parts' own tables: run after changing a part.

`python -m tests.tools.drawings` puts every drawing anew between its marks in
hardware.md.  Plain ASCII, so that any terminal shows it; a test holds the page to
these drawings.
"""

import math
import re
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from cabinvigil import drivers
from cabinvigil.drivers.kit.steps import PartInfo

PAGE = Path(__file__).parents[2] / "hardware.md"
MARKS = re.compile(r"(<!-- drawn: ([a-z-]+) -->\n).*?(<!-- end -->)", re.DOTALL)

USED_PINS = {
    # Header pin: (its name, what it does here).  The names are checked against
    # tests/data/pi_header; what each is used for is config/cabin.toml's.
    1: ("3V3", "sensors on I2C"), 2: ("5V", "serial parts, SPS30"),
    3: ("GPIO2", "I2C data, SDA"), 4: ("5V", "more of the same"),
    5: ("GPIO3", "I2C clock, SCL"), 6: ("GND", "ground"),
    7: ("GPIO4", "1-wire data"), 8: ("GPIO14", "serial out, TXD"),
    9: ("GND", "ground"), 10: ("GPIO15", "serial in, RXD"),
    11: ("GPIO17", "buzzer"), 12: ("GPIO18", "tone (PWM 0), if wanted"),
    13: ("GPIO27", "second sounder"), 14: ("GND", "ground"),
    15: ("GPIO22", "sense line, if wanted"), 16: ("GPIO23", "light"),
    17: ("3V3", "3.3 V, 1-wire"), 18: ("GPIO24", "button"),
    19: ("GPIO10", "-"), 20: ("GND", "ground"),
}  # fmt: skip
"""The upper half of the 40 pins; the lower half stays free."""

PLAN: dict[str, tuple[int, str]] = {
    # kind: (address, how it is set).  Address straps: data sheets, from memory, but
    # for the addresses themselves, which are the part's own table.
    "ina226": (0x40, "A0 and A1 to ground"),
    "sht4x": (0x44, "fixed by the part number's letter A"),
    "o2_cell_ads1115": (0x48, "ADDR to ground"),
    "tmp117": (0x49, "ADD0 to 3.3 V"),
    "co_cell_ads1115": (0x4A, "ADDR to SDA"),
    "sgp41": (0x59, "fixed"),
    "scd4x": (0x62, "fixed"),
    "sps30": (0x69, "fixed"),
    "o2_key_register": (0x73, "its two switches"),
    "bme280": (0x76, "SDO to ground"),
}
"""One address each, so that all ten kinds can hang on one bus."""

USUAL_MA = {
    # At 5 V.  Pi: 120 mA idle by a public measurement of a Zero 2 W (2021, 600 mW);
    # the rest for Wi-Fi and the watch is our allowance.
    "small Pi with Wi-Fi and the watch": 200.0,
    "o2_optical_line": 7.5,  # data sheet, most (sensor notes, 11)
    "frame9_co": 10.0,  # the family's sheet says below 10 (ZE03)
    "scd4x": 18.0,  # from memory, measuring every 5 s
    "sht4x, bme280, ina226": 2.0,  # from memory, together
}
THOROUGH_MA = {
    "o2_cell_ads1115, tmp117": 1.0,  # from memory
    "sps30": 60.0,  # data sheet as quoted publicly, mean
    "sgp41": 3.0,  # SGP40 data sheet v1.0 table 2, 2.6 typical
}
CONVERTER_SHARE = 0.85
"""Of the power that comes out of a fair 12 V to 5 V converter; common practice."""
BATTERY_V, BATTERY_AH = 12.0, 12.0
USABLE_SHARE = 0.5
"""Of a lead battery that is to last for years; common practice, no source."""
COLD_SHARE = 0.75
"""Of its charge that a lead battery gives at about -10 C (from memory)."""
NIGHT_H = 9.0

PILLOW_DBA = 75.0
"""Thomas & Bruck: 75 dBA at 520 Hz woke over nine in ten (check values, sound)."""
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
    for kind, (address, how) in PLAN.items():
        could = infos()[kind].addresses
        span = f"0x{could[0]:02x}" + (f" to 0x{could[-1]:02x}" if could[1:] else "")
        rows.append((f"0x{address:02x}", f"`{kind}`", how, span))
    return table(("address", "part", "how it is set", "can have"), rows)


def parts() -> str:
    """Draw the parts at a glance."""
    rows = []
    for kind, info in infos().items():
        wire = {"i2c": "I2C", "serial": f"serial, {info.baud}", "file": "1-wire"}
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
    heads = ("kind", "what it is", "wire", "warm after", "works at, C", "life")
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
        "part",
        "replace after",
        "name and place",
        "in service since",
        "replace on",
    )
    return table(heads, rows)


def power() -> str:
    """Work out the current of two builds, and how long a battery lasts."""
    usual, thorough = sum(USUAL_MA.values()), sum((USUAL_MA | THOROUGH_MA).values())
    lines = [f"{what:<36}{ma:7.1f} mA at 5 V" for what, ma in USUAL_MA.items()]
    lines += [f"{'the usual build':<36}{usual:7.1f} mA"]
    lines += [f"{what:<36}{ma:7.1f} mA more" for what, ma in THOROUGH_MA.items()]
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


def needed_dba(distance_m: float, stated_at_m: float) -> float:
    """Return the level that a sounder's sheet must state, by the inverse square law."""
    return PILLOW_DBA + 20 * math.log10(distance_m / stated_at_m)


def loudness() -> str:
    """Work out what a sounder's sheet must say for 75 dBA at the pillow."""
    rows = [
        (
            f"{far:g} m",
            f"{needed_dba(far, 1.0):.0f} dBA",
            f"{needed_dba(far, 0.1):.0f} dBA",
        )
        for far in (0.3, 0.5, 1.0, 1.5, 2.0)
    ]
    heads = ("sounder to pillow", "sheet states it at 1 m", "at 10 cm")
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
            cells.append(f"{ohm:.0f} ohm, {verdict}")
        rows.append(cells)
    return table(("boards", "with 10 kohm each", "with 4.7 kohm each"), rows)


DRAWINGS: dict[str, Callable[[], str]] = {
    "header": header,
    "addresses": addresses,
    "parts": parts,
    "service": service,
    "power": power,
    "loudness": loudness,
    "pull-ups": pull_ups,
}


def redrawn(text: str) -> str:
    """Return the page with every drawing made anew.

    Raises:
        KeyError: a mark names no drawing.
    """
    return MARKS.sub(lambda mark: mark[1] + DRAWINGS[mark[2]]() + mark[3], text)


if __name__ == "__main__":
    PAGE.write_text(redrawn(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
