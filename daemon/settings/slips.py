"""Slips of a cabin's figures: what can be so, and more likely is a typing error.

A value that no cabin has is refused by its field's own range (`values`); what is said
here may be right, and then it stands.  Bounds without a source are own choices: beyond
them stands another unit far more often than such a cabin.
"""

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from cabinvigil.daemon.settings.errors import CONFUSED
from cabinvigil.daemon.settings.values import Cabin, I2cSettings, MqttSettings
from cabinvigil.daemon.text.numbers import compact
from cabinvigil.daemon.text.units import UNITS, convert, sign_of, unit_of
from cabinvigil.daemon.text.units_said import SI, Units

LARGE_M3 = 40.0
"""A hut of 4 x 4 m; vans have 6 to 15 m3 (common practice, no source)."""
M3_A_SLEEPER = 1.0
"""A lying person, a bunk and the air above it (as `plan`)."""
SMALL_VENT_CM2, LARGE_VENT_CM2 = 2.0, 1000.0
"""From a hole of 16 mm to a hatch that stands open."""
STRONG_KW, WEAK_KW = 10.0, 0.2
"""Portable unvented heaters burn some 1 to 5 kW (common practice, no source)."""
HIGH_M = 2500.0
WARM_NIGHT_C = 30.0
FROZEN_BUTANE_C = 0.0
"""Butane boils at -0.5 °C (unverified): colder, its cylinder gives no gas."""
TLS_PORT, PLAIN_PORT = 8883, 1883
"""IANA's registered ports."""


def slips(
    cabin: Cabin,
    mqtt: MqttSettings | None,
    buses: Mapping[str, I2cSettings],
    units: Units = SI,
    with_unit: frozenset[str] = frozenset(),
) -> Iterator[str]:
    """Report what may be a slip, a sentence each.

    In SI, in which the keys stand, what a value in another unit would be; in others how
    it is written with its unit.

    Args:
        cabin: of the config.
        mqtt: of the config.
        buses: of the config.
        units: in which values are told.
        with_unit: keys of the cabin that came with a unit: no other was meant.
    """
    telling = _Telling(units, with_unit)
    yield from _room(cabin, telling)
    yield from _vents(cabin, telling)
    yield from _heater(cabin, telling)
    yield from _weather(cabin, telling)
    if mqtt is not None:
        yield from _ports(mqtt)
    for name, bus in buses.items():
        if bus.device == "/dev/i2c-0":
            yield (
                f"[i2c.{name}] device is /dev/i2c-0: on a Pi's header it is /dev/i2c-1."
            )


class _Telling(NamedTuple):
    """How values are told."""

    units: Units
    with_unit: frozenset[str]

    def value(self, key: str, value: float) -> str:
        """Format a value: bare as it stands there, in other units with their sign."""
        unit = unit_of(key)[1]
        return self.units.given_said(unit, value) if self.units.is_us else f"{value:g}"

    def doubt(self, key: str, value: float, why: str, *meant: str) -> str:
        """Return why a value is doubtful, and what was perhaps meant."""
        what = f"{key} is {self.value(key, value)}, {why}"
        hints = [] if key in self.with_unit else [one for one in meant if one]
        return f"{': '.join([what, *hints])}."

    def meant(self, value: float, theirs: str, key: str, digits: int = 2) -> str:
        """Format what a value would be in our unit, had it been written in theirs."""
        if self.units.is_us:
            return _write(value, theirs)
        ours = unit_of(key)[1]
        inside = convert(value, theirs, ours) or 0.0
        words = dict(CONFUSED[ours])[theirs]
        rounded = float(f"{inside:.{digits}g}")
        return f"{value:g} {words} would be {rounded:g} {_SPELLED[ours]}"


def _write(value: float, theirs: str) -> str:
    """Return how a value is written with its unit, so that nobody takes it for ours."""
    return f'write "{compact(value)} {sign_of(theirs)}" if that was meant'


_SPELLED = {"m3": "m³", "cm2": "cm²", "m": "m", "kw": "kW", "c": "°C"}


def _room(cabin: Cabin, telling: _Telling) -> Iterator[str]:
    volume_m3, people, key = cabin.volume_m3, cabin.people, "volume_m3"
    if volume_m3 is not None and volume_m3 > LARGE_M3:
        why = "more air than vans and boats hold"
        yield telling.doubt(key, volume_m3, why, telling.meant(volume_m3, "ft3", key))
    if people == 0:
        yield "people is 0, so nobody's breath is planned for: write who sleeps there."
    elif volume_m3 is not None and people and people > volume_m3 / M3_A_SLEEPER:
        room = telling.units.given_said("m3", volume_m3)
        yield f"people is {people}, and so many cannot lie down in {room}."
    high_m, key = cabin.altitude_m, "altitude_m"
    if high_m is not None and high_m > HIGH_M:
        why = "higher than most roads go"
        yield telling.doubt(key, high_m, why, telling.meant(high_m, "ft", key, 3))


def _vents(cabin: Cabin, telling: _Telling) -> Iterator[str]:
    vents = {"vent_low_cm2": cabin.vent_low_cm2, "vent_high_cm2": cabin.vent_high_cm2}
    burns = cabin.burner_kw or cabin.burner_low_kw
    shut = [key for key, value in vents.items() if value == 0.0]
    if burns and len(shut) == len(vents):
        none = telling.units.given_said("cm2", 0.0)
        yield (
            f"Both vents are {none}, and the heater is lit: nothing lets fresh air in."
        )
    elif burns and shut:
        yield (
            f"{shut[0]} is 0, a vent that is closed: in still air one vent alone "
            "passes little."
        )
    for key, value in vents.items():
        if value is None or value == 0.0:
            continue
        # Who thinks in square inches writes neither m2 nor mm2.
        if value < SMALL_VENT_CM2:
            meant = f"{value:g} m² would be {value * 1e4:g} cm²"
            why = "a hole of a finger's width or less"
        elif value > LARGE_VENT_CM2:
            meant = telling.meant(value, "mm2", key, 3)
            why = "a hatch rather than a vent"
        else:
            continue
        yield telling.doubt(key, value, why, "" if telling.units.is_us else meant)


def _heater(cabin: Cabin, telling: _Telling) -> Iterator[str]:
    is_us, said = telling.units.is_us, telling.units.given_said
    for key in ("burner_kw", "burner_low_kw"):
        value = getattr(cabin, key)
        if value is None or value == 0.0:
            continue
        if value > STRONG_KW:
            kw = 1000.0 * value * UNITS["btu_h"].scale
            meant = f"{value:g} thousand BTU/h would be {kw:.2g} kW"
            meant = _write(1000.0 * value, "btu_h") if is_us else meant
            why = "more than portable heaters burn"
            yield telling.doubt(key, value, why, meant)
        elif value < WEAK_KW:
            meant = f"give {telling.units.sign('kw')}"
            yield telling.doubt(key, value, "less than any heater burns", meant)
    outside_c = cabin.outside_c
    butane = (cabin.fuel or {}).get("butane", 0.0)
    if butane > 0.9 and outside_c is not None and outside_c < FROZEN_BUTANE_C:
        yield (
            f"fuel is butane and outside_c {telling.value('outside_c', outside_c)}: "
            f"below {said('c', FROZEN_BUTANE_C)} its cylinder gives no gas; look at "
            "its label, or keep it inside."
        )
    if cabin.burner_kw and cabin.fuel is None:
        yield "fuel is missing, and propane is taken: write what the heater burns."


def _weather(cabin: Cabin, telling: _Telling) -> Iterator[str]:
    warm_c, key = cabin.outside_c, "outside_c"
    if warm_c is not None and warm_c > WARM_NIGHT_C:
        why = "a warm night for a heater"
        yield telling.doubt(key, warm_c, why, telling.meant(warm_c, "f", key))


def _ports(mqtt: MqttSettings) -> Iterator[str]:
    if mqtt.port == TLS_PORT and not mqtt.tls:
        yield (
            f"[mqtt] port {TLS_PORT} is the one for TLS, and `tls = false`: set `tls = "
            f"true`, or port {PLAIN_PORT}."
        )
    elif mqtt.port == PLAIN_PORT and mqtt.tls:
        yield (
            f"[mqtt] port {PLAIN_PORT} is the one without TLS, and TLS is on: take the "
            f"port out, or set `tls = false` where the broker is on this machine."
        )
