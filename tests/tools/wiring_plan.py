"""What hangs on which pin, bus and address in hardware.md: its drawings and tests."""

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

PLAN: dict[str, tuple[int, str]] = {
    # kind: (address, how it is set).  Address straps: data sheets, unverified, but
    # for the addresses themselves, which are the part's own table.
    "pmsa003i": (0x12, "fixed"),
    "max17048": (0x36, "fixed"),
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
    "sgp41": (0x59, "fixed"),
    "scd30": (0x61, "fixed"),
    "scd4x": (0x62, "fixed"),
    "stcc4": (0x64, "ADDR to ground"),
    "sps30": (0x69, "fixed"),
    "sen6x": (0x6B, "fixed"),
    "o2_key_register": (0x73, "its two switches"),
    "co_named_i2c": (0x74, "its two switches at 0"),
    "bme280": (0x76, "SDO to ground"),
    "bmp280": (0x77, "SDO to 3.3 V"),
    "bmp390": (0x77, "SDO to 3.3 V, as most boards come"),
}
"""One address each, or inputs of their own: all but stand-ins can hang on one bus."""


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
STANDS_IN = {
    **dict.fromkeys(("bmp280", "bmp390"), "bme280"),
    **dict.fromkeys(("ina219", "ina228"), "ina226"),
    "sht3x": "sht4x",
}
"""Who has one hardly has the other; they may share an address with each other."""

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
