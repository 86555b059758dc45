"""What a config says, as frozen values: one class a table, one field a key.

The note beside a field's type (`Within`, `Word`, ...) says what its value must be;
a string under a field is its meaning.  None is 'unknown', or 'not there'.
Ranges without a source are common practice, no source: wide enough for any cabin,
narrow enough to catch a slipped decimal point or another unit.
"""

import datetime as dt
import math
import stat
from collections.abc import Mapping
from dataclasses import MISSING
from types import MappingProxyType
from typing import Annotated, Any, Literal, TypeVar

import attrs
from attrs import frozen

from cabinvigil.daemon.settings.checks import (
    Day,
    FuelMix,
    Laxer,
    Location,
    Within,
    Word,
    ZoneName,
)

T = TypeVar("T")
EMPTY: Mapping[str, Any] = MappingProxyType({})
LANGUAGE = 'write a language alone, as "en", "de" or "fr", without a country'
OPEN_TO_OTHERS = stat.S_IRWXO | stat.S_IWGRP
"""What the mode of a password's file may not give: root's file, read by the monitor's
group, is the rule (systemd/cabinvigil.tmpfiles)."""

TopicWord = Annotated[
    str,
    Word(
        r"[a-z0-9]+(-[a-z0-9]+)*",
        "use small letters, digits and single hyphens: it becomes an MQTT topic",
    ),
]
PlaceWord = Annotated[
    str,
    Word(
        r"([a-z][a-z0-9]*)?",
        "use small letters and digits without spaces, "
        "like outside, glass, ceiling or floor",
        20,
    ),
]
LineWord = Annotated[
    str,
    Word(r"[A-Za-z0-9_./-]+", 'write the line by its name, like "GPIO17"', 32),
]
HostWord = Annotated[
    str,
    Word(
        r"[A-Za-z0-9._:-]+",
        "write the broker's host name or address alone, without mqtt:// or port",
        253,
    ),
]


@frozen(kw_only=True)
class Cabin:
    """The space that is slept in."""

    name: TopicWord
    """Names the cabin on MQTT: `cabinvigil/<name>/...`."""
    zone: Annotated[str, ZoneName()] | None = None
    """Of its hours and nights, by the tz database; None is the machine's own."""
    volume_m3: Annotated[float, Within(1.0, 500.0)] | None = None
    """Air space, furniture taken off."""
    people: Annotated[int, Within(0, 20)] | None = None
    """Sleepers on a usual night."""
    berths: Annotated[int, Within(0, 20)] | None = None
    """Places to sleep, which rules for vents count."""
    children: Annotated[int, Within(0, 20)] | None = None
    """Of them children: they take carbon monoxide up faster."""
    smokers: Annotated[int, Within(0, 20)] | None = None
    """Of them smokers: they have carbon monoxide in the blood at bedtime."""
    pregnant: Annotated[int, Within(0, 20)] | None = None
    """Of them pregnant: the blood of the unborn holds more of it."""
    # -430: the shore of the Dead Sea; 5500: the highest places lived in (unverified).
    altitude_m: Annotated[float, Within(-430.0, 5500.0)] | None = None
    """Above the sea; stands in for a missing pressure sensor."""
    vent_low_cm2: Annotated[float, Within(0.0, 20_000.0)] | None = None
    """Free area of the openings near the floor."""
    vent_high_cm2: Annotated[float, Within(0.0, 20_000.0)] | None = None
    """Free area of the openings near the roof."""
    vent_height_m: Annotated[float, Within(0.1, 6.0)] | None = None
    """Between the middles of the low and the high openings."""
    burner_kw: Annotated[float, Within(0.0, 30.0)] | None = None
    """Fuel power at the highest setting, on the higher heating value."""
    burner_low_kw: Annotated[float, Within(0.0, 30.0)] | None = None
    """Fuel power at the lowest setting."""
    burner_height_m: Annotated[float, Within(0.0, 3.0)] | None = None
    """Of the flame above the floor."""
    fuel: Annotated[Mapping[str, float], FuelMix()] | None = None
    """Shares of the gases by mass in the cylinder, adding up to one."""
    cylinder_kg: Annotated[float, Within(0.05, 100.0)] | None = None
    """Gas in a full cylinder."""
    # 0.3: the best triple glazing; 6: a single pane; 10 leaves room (unverified).
    glass_u_w_m2k: Annotated[float, Within(0.2, 10.0)] | None = None
    """Heat that passes the coldest pane, W/(m2 K)."""
    wall_w_k: Annotated[float, Within(1.0, 1000.0)] | None = None
    """Heat that passes all walls together, W/K."""
    outside_c: Annotated[float, Within(-60.0, 45.0)] | None = None
    """Outdoor temperature to plan for, where no sensor tells it."""
    outside_rh_pct: Annotated[float, Within(1.0, 100.0)] | None = None
    wind_mps: Annotated[float, Within(0.0, 30.0)] | None = None
    leak_per_h: Annotated[float, Within(0.0, 50.0)] | None = None
    """Air changes that remain with every vent shut."""
    # Outdoor air holds 425 or more (air/figures.py); 300 leaves room.
    outdoor_co2_ppm: Annotated[float, Within(300.0, 2000.0)] | None = None
    units: Literal["si", "us"] = "si"
    """In which people are told numbers; log, JSON and MQTT stay SI."""


@frozen(kw_only=True)
class Watch:
    """How the daemon runs."""

    # 0.5 to 60: the steps that rules must bear (design, replay input).
    tick_s: Annotated[float, Within(0.5, 60.0)] = 1.0
    """How often the air is assessed."""
    language: Annotated[str, Word(r"[a-z]{2,3}", LANGUAGE)] = "en"
    """Of the sentences that are told."""
    words: str | None = None
    """A message file of your own, in place of the packaged one."""
    state_folder: Annotated[str, Location()] = "/var/lib/cabinvigil"
    """Where standing alarms and spans are kept across restarts."""
    limits: str | None = None
    """A limits file of your own, in place of the packaged one."""
    accept_laxer: bool = False
    """The person knows that a tick as slow as this guards less."""


@frozen(kw_only=True)
class I2cSettings:
    """One I2C bus."""

    device: Annotated[str, Location()]
    """Its device file."""


@frozen(kw_only=True)
class PartSettings:
    """One sensor."""

    kind: str
    """The part's name in the registry."""
    bus: str | None = None
    """The name of its I2C bus."""
    port: Annotated[str, Location()] | None = None
    """Its serial port."""
    path: Annotated[str, Location()] | None = None
    """Its kernel file (1-wire)."""
    line: LineWord | None = None
    """Its line (a contact)."""
    active_low: bool | None = None
    """Whether that line is low while the contact tells of something; None: it is."""
    means: Literal["smoke", "gas", "co", "door", "bilge"] | None = None
    """What a contact tells of: whose alarm sounds, or what is open or wet."""
    # 0x08..0x77: the addresses that the I2C bus does not keep for itself (NXP UM10204,
    # table 'Reserved addresses', unverified).
    address: Annotated[int, Within(0x08, 0x77)] | None = None
    """Its I2C address, where it is not the part's usual one."""
    place: PlaceWord = ""
    """Where it sits; '' is the bunk."""
    interval_s: Annotated[float, Within(0.2, 3600.0)] | None = None
    """How often it is asked, where not as its maker says."""
    max_age_s: Annotated[float, Within(1.0, 3600.0)] | None = None
    """A value older than this is stale."""
    in_service: Annotated[dt.date, Day()] | None = None
    """The day it was put into service: its life is counted from here."""
    pressure_from: str | None = None
    """The part whose air pressure corrects this one."""
    temperature_from: str | None = None
    """The part whose temperature corrects this one."""
    humidity_from: str | None = None
    """The part whose humidity corrects this one."""
    leave_out: tuple[str, ...] = ()
    """Quantities that this one does not give, or that nobody wants of it: an optical
    oxygen part without a pressure cell leaves out `pressure_hpa`."""
    options: Mapping[str, Any] = EMPTY
    """Whatever else the part takes."""
    accept_laxer: bool = False
    """The person knows that its place, its ages or what it leaves out guard less."""

    @property
    def informed_by(self) -> Mapping[str, str]:
        """Name the part that each wanted quantity comes from."""
        named = {
            "pressure_hpa": self.pressure_from,
            "temp_c": self.temperature_from,
            "rh_pct": self.humidity_from,
        }
        return {quantity: part for quantity, part in named.items() if part}


@frozen(kw_only=True)
class BuzzerSettings:
    """The sounder at the bunk."""

    line: LineWord
    """Its GPIO line, by name."""
    active_low: bool = False
    """It sounds when the line is low."""
    second_line: LineWord | None = None
    """A louder sounder, in a danger at once, else when nobody answers; a bed shaker
    may hang beside it."""
    sense_line: LineWord | None = None
    """An input that hears or sees whether the sounder really sounds."""
    # 520 Hz wakes sleepers best (check_values sound_520hz); a piezo takes up to 5 kHz.
    tone_hz: Annotated[float, Within(100.0, 5000.0)] | None = None
    """Drive a passive sounder at this pitch, on a PWM line such as `pwmchip0/0`;
    absent: the sounder has its own."""


@frozen(kw_only=True)
class LineSettings:
    """One GPIO line."""

    line: LineWord
    active_low: bool = False


@frozen(kw_only=True)
class LogSettings:
    """The rolling log."""

    folder: Annotated[str, Location()] = "/var/log/cabinvigil"
    keep_days: Annotated[int, Within(1, 3650)] = 90
    """Nights older than this are deleted."""
    # A night is 5 MB at most (design, budgets), and must fit twice while it is packed.
    max_mb: Annotated[float, Within(10.0, 100_000.0)] = 500.0
    """All nights together; the oldest go first."""


UserWord = Annotated[
    str,
    Word(
        r"[\w!#$%&'()*+,./;<=>?@^`{|}~\[\]\\-]+",
        "write the user's name as the broker has it: no spaces, colons, quotes or "
        "characters that cannot be seen",
        64,
    ),
]


@frozen(kw_only=True)
class BrokerPlace:
    """Where a broker is, and how to prove who we are."""

    host: HostWord
    port: Annotated[int, Within(1, 65535)] | None = None
    """Absent: 8883 with TLS, 1883 without (IANA's registered ports)."""
    tls: bool = True
    ca_file: Annotated[str, Location()] | None = None
    """The certificate that vouches for the broker; absent: the system's own."""
    user: UserWord | None = None
    password_file: Annotated[str, Location()] | None = None
    """A file with the password alone, readable by the daemon only."""

    @property
    def real_port(self) -> int:
        """Return the port, the usual one where none is named."""
        return self.port if self.port is not None else (8883 if self.tls else 1883)


@frozen(kw_only=True)
class MqttSettings(BrokerPlace):
    """The broker that the phone listens to."""

    heartbeat_s: Annotated[float, Within(5.0, 600.0)] = 30.0
    """How often the watcher says that it lives."""
    readings_s: Annotated[float, Within(1.0, 600.0)] = 10.0
    """How often the readings are published."""
    # The Will is sent 1.5 times this after the last word (MQTT 5.0, 3.1.2.10).
    keepalive_s: Annotated[int, Within(5, 300)] = 15
    morning_at: Annotated[
        str,
        Word(
            r"(0[0-9]|1[01]):[0-5][0-9]",
            'write a local time before noon, like "07:30"',
        ),
    ] = "07:30"
    """When the night's account is published, local time; sooner, where the button is
    pressed in the three hours before and no alarm sounds."""
    test_at_night: bool = False
    """Let a phone sound the test between 20:00 and 08:00 too, local time."""


@frozen(kw_only=True)
class AskSettings:
    """The local socket for `show`, `mark` and `precheck`."""

    # 107: what sun_path of a Unix socket holds (unix(7), unverified).
    socket: Annotated[str, Location(107)] = "/run/cabinvigil/ask"
    group: Annotated[
        str, Word(r"[a-z_][a-z0-9_-]*", "write the name of a group", 32)
    ] = "cabinvigil"
    """Who may ask."""


@frozen(kw_only=True)
class AlarmCommon:
    """What every alarm has, whatever its rule."""

    kind: str
    """The rule that judges it: the name of a file in `rules`."""
    source: str = ""
    """Where its limits come from."""
    published: Any = None
    """The published values themselves, for comparison."""
    accept_laxer: bool = False
    """The person knows that this is less strict than the packaged limits."""
    on_delay_s: Annotated[float, Within(0.0, 3600.0), Laxer("higher")] = 0.0
    """The condition must have stood this long."""
    off_delay_s: Annotated[float, Within(0.0, 86_400.0), Laxer("lower")] = 0.0
    """The condition must have been gone this long."""
    latch: Annotated[bool, Laxer("lower")] = True
    """At `high` it latches until acknowledged."""
    ack_s: Annotated[float, Within(10.0, 86_400.0), Laxer("higher")] = 300.0
    """An acknowledgement quiets for this long at most."""
    again_step: Annotated[float, Within(0.0, 1e9), Laxer("higher")] = math.inf
    """It rings again when things got worse by this much, in the rule's unit; absent:
    never."""
    shelve_s: Annotated[float, Within(0.0, 86_400.0), Laxer("higher")] = 3600.0
    """Longest time aside; 0: may not be shelved."""
    removable: Annotated[bool, Laxer("higher")] = False
    """May be taken out of service: faults of parts only."""
    suppressed_by: Annotated[tuple[str, ...], Laxer("higher")] = ()
    """While one of these stands, the same cause is told there already."""


@frozen(kw_only=True)
class AlarmSettings(AlarmCommon):
    """One alarm: what every alarm has, and its rule's own limits."""

    params: Any
    """The rule's `Params`."""


def changed(value: T, **changes: Any) -> T:
    """Return a frozen value with some fields changed."""
    return attrs.evolve(value, **changes)  # type: ignore[misc]


def fields_of(kind: type) -> tuple[str, ...]:
    """Return the names of the fields of an attrs class or a dataclass."""
    if attrs.has(kind):
        return tuple(one.name for one in attrs.fields(kind))
    return tuple(getattr(kind, "__dataclass_fields__", ()))


def needed_of(kind: type) -> frozenset[str]:
    """Return the names of the fields that have no default."""
    if attrs.has(kind):
        named = ((one.name, one.default) for one in attrs.fields(kind))
        return frozenset(name for name, default in named if default is attrs.NOTHING)
    return frozenset(
        name
        for name, one in getattr(kind, "__dataclass_fields__", {}).items()
        if one.default is MISSING and one.default_factory is MISSING
    )


def to_plain(value: Any) -> Any:
    """Turn values into what JSON can hold; a key that is None is left out."""
    if isinstance(value, dt.date):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): to_plain(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [to_plain(one) for one in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None  # JSON has no such number; only a default can be one
    names = fields_of(type(value))
    if names:
        pairs = ((name, to_plain(getattr(value, name))) for name in names)
        return {name: one for name, one in pairs if one is not None}
    return value
