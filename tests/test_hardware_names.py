"""Every pin, address and device on the building page is the code's own.

What the code, the example and the units say is drawn from them, and held against each
name on the page: one that stands in the wrong place sends a wire to the wrong pin.
"""

import re
from collections.abc import Iterator

import pytest

from cabinvigil.daemon.parts.scan import MUX_ADDRESSES
from cabinvigil.daemon.settings.config import example
from cabinvigil.drivers import REGISTRY, part
from cabinvigil.drivers.kit.ads1115 import ADDRESSES
from tests.tools import drawings, wiring_plan

ROOT = drawings.PAGE.parent
PAGE = drawings.PAGE.read_text(encoding="utf-8")
UNIT = (ROOT / "systemd/cabinvigil.service").read_text(encoding="utf-8")
SETTINGS = example()
PINS = drawings.header_pins()


def used(word: str) -> str:
    """Give the line whose use on the drawn header begins with a word."""
    (found,) = [
        name for name, use in wiring_plan.USED_PINS.values() if use.startswith(word)
    ]
    return found


def lines() -> dict[str, set[str]]:
    """Give the lines that each section may name, by what it is about."""
    assert SETTINGS.buzzer is not None
    assert SETTINGS.light is not None
    assert SETTINGS.button is not None
    buzzer, second = SETTINGS.buzzer.line, str(SETTINGS.buzzer.second_line)
    light, button = SETTINGS.light.line, SETTINGS.button.line
    further = {name for *_, names, _ in wiring_plan.PORTS for name in names}
    return {
        "The least that helps": {buzzer},
        "Wiring": {
            name for name, _ in wiring_plan.USED_PINS.values() if "GPIO" in name
        },
        "More than one bus": {pin for *_, two, _ in wiring_plan.BUSES for pin in two},
        "Serial": further,
        "1-wire": {used("1-wire")},
        "All wires of the usual build": {
            *(buzzer, second, light, button, used("1-wire")),
            *(used("I2C data"), used("I2C clock")),
            *(used("serial out"), used("serial in")),
        },
        "Sounder, light and button": {buzzer, second, light, button},
        "A tone of 520 Hz": {used("tone")},
        "Hearing whether it sounds": {buzzer, used("sense")},
        "When the Pi itself is dead": {light},
        "Users, devices, units": {buzzer},
        "contact": {"GPIO6"},
    }


def sections(page: str) -> Iterator[tuple[str, str]]:
    """Yield each heading, of whatever level, with what stands right under it."""
    pieces = re.split(r"^##+ (.+)$", page, flags=re.MULTILINE)
    yield from zip(
        [title.strip("`") for title in pieces[1::2]], pieces[2::2], strict=True
    )


def wrong_lines(page: str) -> list[str]:
    """List sections whose GPIO lines are not those of the code."""
    may = lines()
    found = []
    for title, body in sections(page):
        named = set(re.findall(r"GPIO\d+", body))
        if named != may.get(title, set()):
            found.append(f"{title}: {sorted(named)}, not {sorted(may.get(title, ()))}")
    return found


def wrong_pins(page: str) -> list[str]:
    """List lines that pair a header pin with another name than the board's."""
    found = []
    for pin, name in re.findall(r"^\| (\d+) \| (GPIO\d+)[ ,]", page, re.MULTILINE):
        found += [] if PINS[int(pin)] == name else [f"pin {pin} is no {name}"]
    for name, pin in re.findall(r"(GPIO\d+), pin (\d+)", page):
        found += [] if PINS[int(pin)] == name else [f"{name} is not on pin {pin}"]
    names = {"TXD": used("serial out"), "RXD": used("serial in")}
    wiring = re.findall(r"pin (\d+), (TXD|RXD)|\b(\d+) {2,3}(TXD|RXD)\b", page)
    assert len(wiring) == 4, "the two tables of serial wires"
    for one in wiring:
        pin, name = one[0] or one[2], one[1] or one[3]
        found += [] if PINS[int(pin)] == names[name] else [f"{name} is not on {pin}"]
    powers = re.findall(r"\b(\d+)  (3V3|5V|GND|SDA|SCL)\b", page)
    known = {"SDA": used("I2C data"), "SCL": used("I2C clock")}
    for pin, name in powers:
        if PINS[int(pin)] != known.get(name, name):
            found.append(f"{name} is not on pin {pin}")
    return found


def wrong_addresses(page: str) -> list[str]:
    """List addresses that no part has which their own section names."""
    found = []
    clock, clock_at = wiring_plan.CLOCK
    for title, body in sections(page):
        for line in body.splitlines():
            for word in re.findall(r"\b0x[0-9a-f]{2}\b", line):
                kinds = [kind for kind in REGISTRY if kind in (title, *_words(line))]
                kinds = kinds or [kind for kind in REGISTRY if kind in body]
                may = {at for kind in kinds for at in part(kind).addresses}
                may |= {clock_at} if clock in line else set()
                if "i2c-mux" in line or "multiplexer" in line:
                    may |= set(MUX_ADDRESSES)
                may |= set(ADDRESSES) if title == "contact" else set()
                if int(word, 16) not in may:
                    found.append(f"{title}: {word} is none of {', '.join(kinds)}'s")
    return found


def _words(line: str) -> list[str]:
    return re.findall(r"[a-z0-9_]+", line)


def devices() -> list[str]:
    """Give the patterns of every device that the example and the units name."""
    kinds = re.findall(r"^DeviceAllow=char-(tty\w+) rw", UNIT, re.MULTILINE)
    buses = [re.escape(bus.device) for bus in SETTINGS.i2c.values()]
    ports = [re.escape(one.port) for one in SETTINGS.parts.values() if one.port]
    more = [one for *_, named, _, _ in wiring_plan.BUSES for one in named.split(" to ")]
    assert 'SYMLINK+="i2c-pane"' in PAGE
    more.append("/dev/i2c-pane")
    sockets = [re.sub(r"(?<=usb\\-0:1\\\.)\d", r"\\d", one) for one in ports]
    watchdog = (ROOT / "systemd/watchdog.conf").read_text(encoding="utf-8")
    assert "RuntimeWatchdogSec=" in watchdog
    return [
        *buses, *ports, *sockets, *more,
        *(rf"/dev/{kind}(\d+|\*)" for kind in kinds),
        r"/dev/serial/by-(path|id)(/(\.\.\.)?)?",
        r"/dev/serial/by-path/platform-3f980000\.usb-usb-0:1:1\.0-port0",
        "/dev/watchdog", "/dev/stdin", "/dev/null",
    ]  # fmt: skip


def wrong_devices(page: str) -> list[str]:
    """List device names that neither the example nor the units know."""
    known = re.compile("|".join(devices()))
    named = re.findall(r"/dev/[^\s`\"',;)]+", page)
    assert len(named) > 20
    return [one.rstrip(".") for one in named if not known.fullmatch(one.rstrip("."))]


def wrong_channels(page: str) -> list[str]:
    """List PWM channels other than those of the drawn header, and of a Pi 5."""
    use = dict(wiring_plan.USED_PINS.values())[used("tone")]
    (channel,) = re.findall(r"PWM (\d)", use)
    may = {f"pwmchip0/{channel}", "pwmchip0/2"}
    return sorted(set(re.findall(r"pwmchip\d+/\d+", page)) - may)


CHECKS = (wrong_lines, wrong_pins, wrong_addresses, wrong_devices, wrong_channels)


@pytest.mark.parametrize("check", CHECKS)
def test_the_page_names_what_the_code_names(check: object) -> None:
    assert callable(check)
    assert check(PAGE) == []


MUTANTS = (
    # What stands on the page, and a slip of the pen in its place.
    ("R8, 330 Ω: GPIO23, pin 16", "R8, 330 Ω: GPIO27, pin 13"),
    ("R1: GPIO17, pin 11", "R1: GPIO18, pin 12"),
    ('sense_line = "GPIO22"', 'sense_line = "GPIO24"'),
    ("of the button: GPIO24, pin 18", "of the button: GPIO24, pin 16"),
    ("R3, 470 Ω: GPIO23, pin 16", "R3, 470 Ω: GPIO22, pin 15"),
    ("Drive its amplifier from GPIO18", "Drive its amplifier from GPIO19"),
    ("BUZZER_LINE=GPIO17", "BUZZER_LINE=GPIO27"),
    ("3.3 V to GPIO6, pin 31", "3.3 V to GPIO6, pin 33"),
    ("| GPIO12, pin 32 |", "| GPIO12, pin 33 |"),
    ("| pin 10, RXD |", "| pin 8, RXD |"),
    ("TX  ------- 10  RXD", "TX  ------- 8   RXD"),
    ("`pane`, DQ: GPIO4, pin 7", "`pane`, DQ: GPIO4, pin 9"),
    (" 1  3V3  ----+", " 2  3V3  ----+"),
    (" 5  SCL  ----+", " 7  SCL  ----+"),
    ("3.3 V, 0x76 or 0x77", "3.3 V, 0x75 or 0x77"),
    ("I2C, 5 V power, 0x69", "I2C, 5 V power, 0x68"),
    ("second `sht4x` at 0x45", "second `sht4x` at 0x48"),
    ("a ds3231 at 0x68", "a ds3231 at 0x62"),
    ("port there is `/dev/ttyAMA0`", "port there is `/dev/ttyAMAO`"),
    ("On a Pi 5 `/dev/serial0`", "On a Pi 5 `/dev/serial1`"),
    ('device = "/dev/i2c-1"', 'device = "/dev/i2c-0"'),
    ('device = "/dev/i2c-30"', 'device = "/dev/i2c-20"'),
    ("| GPIO5, pin 29 | GPIO6, pin 31 |", "| GPIO5, pin 31 | GPIO6, pin 29 |"),
    ("0x70 to 0x77 by its three pins", "0x68 to 0x77 by its three pins"),
    ('line = "pwmchip0/0"', 'line = "pwmchip0/1"'),
)


@pytest.mark.parametrize(("told", "slip"), MUTANTS)
def test_a_slip_of_the_pen_is_noticed(told: str, slip: str) -> None:
    """Each of them would send a builder to the wrong place."""
    assert told in PAGE
    changed = PAGE.replace(told, slip, 1)
    assert [found for check in CHECKS for found in check(changed)]


# --- where a figure is from -------------------------------------------------------

SOURCED = (
    "The clock", "The network", "A card that is only read", "What it costs",
)  # fmt: skip
SOURCE = re.compile(
    r"unverified|data sheet|public measurement|sheets?\b|maker's|common practice"
    r"|our (choice|estimate|calculation)|sensor notes|public project|EN \d|tried"
    r"|SGP40|ZE0",
    re.IGNORECASE,
)


def without_a_source(page: str) -> list[str]:
    """List sentences with a figure, in sections on the machine, without a source."""
    found = []
    for title, body in sections(page):
        if title not in SOURCED:
            continue
        plain = re.sub(r"^```.*?^```$", "", body, flags=re.DOTALL | re.MULTILINE)
        found += [
            f"{title}: {line}"
            for line in plain.splitlines()
            if re.search(r"\d", line) and line[0] != "|" and not SOURCE.search(line)
        ]
    return found


def test_figures_about_the_machine_name_their_source() -> None:
    """A document, or that it is unverified."""
    assert without_a_source(PAGE) == []


def test_a_figure_without_a_source_is_noticed() -> None:
    changed = PAGE.replace("(maker's overlays); no sensor", "; no sensor")
    assert without_a_source(changed) != []


def test_what_each_part_takes_is_told_of_each() -> None:
    """The table of power is whole, and each figure says where it is from."""
    lacking = set(drawings.DRAW_MA) ^ set(REGISTRY)
    assert lacking == set(), "tests/tools/drawings.py, DRAW_MA: the current of each"
    told = [*drawings.DRAW_MA.values(), *drawings.BESIDE_MA.values()]
    assert [why for _, why in told if not SOURCE.search(why)] == []


def test_the_clock_chip_has_an_address_of_its_own() -> None:
    _, address = wiring_plan.CLOCK
    assert not [kind for kind in REGISTRY if address in part(kind).addresses]
