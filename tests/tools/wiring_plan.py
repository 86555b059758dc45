"""What hangs on which pin, bus and address in hardware.md: its drawings and tests."""

from collections.abc import Mapping

from cabinvigil.drivers import REGISTRY, part
from cabinvigil.drivers.kit.steps import PartInfo

USED_PINS = {
    # Header pin: (its name, what it does here).  The names are checked against
    # tests/data/pi_header; what each is used for is config/cabin.toml's.
    1: ("3V3", "sensors on I2C"), 2: ("5V", "serial sensors, fine dust"),
    3: ("GPIO2", "I2C data, SDA"), 4: ("5V", "more of the same"),
    5: ("GPIO3", "I2C clock, SCL"), 6: ("GND", "ground: I2C"),
    7: ("GPIO4", "1-wire data"), 8: ("GPIO14", "serial out, TXD"),
    9: ("GND", "ground: 1-wire"), 10: ("GPIO15", "serial in, RXD"),
    11: ("GPIO17", "sounder"), 12: ("GPIO18", "tone (PWM 0), if wanted"),
    13: ("GPIO27", "second sounder"), 14: ("GND", "ground: serial sensor"),
    15: ("GPIO22", "sense line, if wanted"), 16: ("GPIO23", "light"),
    17: ("3V3", "3.3 V, 1-wire"), 18: ("GPIO24", "button"),
    19: ("GPIO10", "-"), 20: ("GND", "ground: light, button"),
}  # fmt: skip
"""The upper half of the 40 pins; the lower half stays free."""
CONTACT_LINE = "GPIO6, pin 31"
"""Of a contact, in its snippet: on the lower half."""

STRAPS: dict[str, tuple[int, str]] = {
    # Of each kind that can have more than one address: the one that it is given, so
    # that all can hang on one bus, and how.  Straps: data sheets, unverified.
    "ina226": (0x40, "A0 and A1 to ground"),
    "ina228": (0x40, "A0 and A1 to ground"),
    "ina219": (0x41, "A0 to 3.3 V, A1 to ground"),
    "sht4x": (0x44, "fixed by the part number's letter A"),
    "sht3x": (0x45, "ADDR to 3.3 V"),
    "o2_cell_ads1115": (0x48, "ADDR to ground"),
    "o2_amplified_ads1115": (0x48, "the same chip, inputs 2 and 3"),
    "tmp117": (0x49, "ADD0 to 3.3 V"),
    "co_cell_ads1115": (0x4A, "ADDR to SDA"),
    "gas_bead_ads1115": (0x4B, "ADDR to SCL"),
    "stcc4": (0x64, "ADDR to ground"),
    "o2_key_register": (0x73, "its two switches"),
    "co_named_i2c": (0x74, "its two switches at 0"),
    "bme280": (0x76, "SDO to ground"),
    "bmp280": (0x77, "SDO to 3.3 V"),
    "bmp390": (0x77, "SDO to 3.3 V, as most boards come"),
}


def on_i2c() -> dict[str, PartInfo]:
    """Return the table of each part on I2C, by its word in the config."""
    infos = {kind: part(kind) for kind in [*STRAPS, *REGISTRY]}
    return {kind: info for kind, info in infos.items() if info.bus == "i2c"}


def address_plan(infos: Mapping[str, PartInfo]) -> dict[str, tuple[int, str]]:
    """Return the address of each part, and how it is set, in the addresses' order.

    A part with one address alone has that: it needs no line in `STRAPS`.
    """
    unsaid = {
        kind: (info.address, "fixed" if len(info.addresses) == 1 else "as it comes")
        for kind, info in infos.items()
    }
    plan = unsaid | {kind: STRAPS[kind] for kind in infos if kind in STRAPS}
    return dict(sorted(plan.items(), key=lambda one: one[1][0]))


def others_there(kind: str, infos: Mapping[str, PartInfo]) -> str:
    """Say which other parts of the plan have this one's address, and the way out.

    What measures the same takes its place, and is hardly fitted beside it.  Any other
    needs another address or a bus of its own: on one bus both would answer at once.
    """
    plan = address_plan(infos)
    taken = {address for address, _ in plan.values()}
    ways: dict[str, list[str]] = {}
    for other in plan:
        if other == kind or not _answer_at_once(infos[kind], infos[other], plan):
            continue
        here, there = (
            sorted(set(infos[one].addresses) - taken) for one in (kind, other)
        )
        if _measures_the_same(infos[kind], infos[other]):
            way = "in its place"
        elif here:
            way = f"set this one to 0x{here[0]:02x}"
        elif there:
            way = f"set that one to 0x{there[0]:02x}"
        else:
            way = "on another bus"
        ways.setdefault(way, []).append(f"`{other}`")
    return "; ".join(f"{', '.join(kinds)}: {way}" for way, kinds in ways.items()) or "-"


def _answer_at_once(
    one: PartInfo, other: PartInfo, plan: Mapping[str, tuple[int, str]]
) -> bool:
    if plan[one.name][0] != plan[other.name][0]:
        return False
    return one.inputs({}) is None or other.inputs({}) is None


def _measures_the_same(one: PartInfo, other: PartInfo) -> bool:
    a, b = _purpose(one), _purpose(other)
    return a <= b or b <= a


def _purpose(info: PartInfo) -> frozenset[str]:
    """Return what a part is fitted for: many tell their temperature besides."""
    return frozenset(info.gives) - {"temp_c"} or frozenset(info.gives)


BUSES = (
    # What it is for, overlay line, its buses, pins (SDA, SCL), not beside what.
    (
        "a multiplexer, TCA9548 or PCA9548",
        "i2c-mux,pca9548,addr=0x70,base=30,disconnect_on_idle",
        "/dev/i2c-30 to /dev/i2c-37",
        ("GPIO2", "GPIO3"),
        "a sensor at 0x70",
    ),
    (
        "two free pins, any board",
        "i2c-gpio,bus=8,i2c_gpio_sda=5,i2c_gpio_scl=6",
        "/dev/i2c-8",
        ("GPIO5", "GPIO6"),
        "a serial port there",
    ),
    (
        "a controller of a Pi 4",
        "i2c5",
        "/dev/i2c-5",
        ("GPIO12", "GPIO13"),
        "a serial port there",
    ),
    (
        "a controller of a Pi 5",
        "i2c2-pi5,pins_12_13",
        "/dev/i2c-2",
        ("GPIO12", "GPIO13"),
        "a serial port there",
    ),
)
"""Further I2C buses: lines and pins by the README and the sources of the Pi's overlays
(kernel 6.12); the first of two pins is data."""

CLOCK = ("ds3231", 0x68)
"""A clock chip with a battery, by its word in the overlay; on the sensors' bus."""

PORTS = (
    # Board, overlay, device, pins (TXD, RXD), what else lies on them here.
    ("Pi 4", "uart3", "/dev/ttyAMA3", ("GPIO4", "GPIO5"), "1-wire"),
    ("Pi 4", "uart4", "/dev/ttyAMA4", ("GPIO8", "GPIO9"), "SPI"),
    ("Pi 4", "uart5", "/dev/ttyAMA5", ("GPIO12", "GPIO13"), "-"),
    ("Pi 5", "uart2-pi5", "/dev/ttyAMA2", ("GPIO4", "GPIO5"), "1-wire"),
    ("Pi 5", "uart3-pi5", "/dev/ttyAMA3", ("GPIO8", "GPIO9"), "SPI"),
    ("Pi 5", "uart4-pi5", "/dev/ttyAMA4", ("GPIO12", "GPIO13"), "-"),
)
"""Serial ports of the header beside its usual one; those on an add-on board's memory,
GPIO0 and GPIO1, are left out.  Pins of a Pi 4: the maker's overlays; of a Pi 5: three
public projects that name pin and device alike."""
