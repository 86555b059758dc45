"""Slips of a cabin's figures: what can be so, and more likely is a typing error.

A value that no cabin has is refused by its field's own range (`values`); what is said
here may be right, and then it stands.  Bounds without a source are own choices: beyond
them stands another unit far more often than such a cabin.
"""

from collections.abc import Iterator, Mapping

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
"""Butane boils at -0.5 °C (from memory): colder, its cylinder gives no gas."""
TLS_PORT, PLAIN_PORT = 8883, 1883
"""IANA's registered ports."""


def slips(
    cabin: Cabin,
    mqtt: MqttSettings | None,
    buses: Mapping[str, I2cSettings],
    units: Units = SI,
) -> Iterator[str]:
    """Say what may be a slip, a sentence each.

    In SI, in which the keys stand, what a value in another unit would be; in others how
    it is written with its unit.
    """
    yield from _room(cabin, units)
    yield from _vents(cabin, units)
    yield from _heater(cabin, units)
    yield from _weather(cabin, units)
    if mqtt is not None:
        yield from _ports(mqtt)
    for name, bus in buses.items():
        if bus.device == "/dev/i2c-0":
            yield (
                f"[i2c.{name}] device is /dev/i2c-0: on a Pi's header it is /dev/i2c-1."
            )


def _told(key: str, value: float, units: Units) -> str:
    """Spell a key's value: bare as it stands there, in other units with their sign."""
    return units.given_said(unit_of(key)[1], value) if units.is_us else f"{value:g}"


def _is(key: str, value: float, units: Units) -> str:
    return f"{key} is {_told(key, value, units)}"


def _in(value: float, theirs: str, key: str, units: Units, digits: int = 2) -> str:
    """Spell what a value would be in our unit, had it been written in theirs."""
    ours = unit_of(key)[1]
    if units.is_us:
        return _write(value, theirs)
    inside = convert(value, theirs, ours) or 0.0
    words = dict(CONFUSED[ours])[theirs]
    rounded = float(f"{inside:.{digits}g}")
    return f"{value:g} {words} would be {rounded:g} {_SPELLED[ours]}"


def _write(value: float, theirs: str) -> str:
    """Say how a value is written with its unit, so that nobody takes it for ours."""
    return f'write "{compact(value)} {sign_of(theirs)}" if that was meant'


_SPELLED = {"m3": "m3", "cm2": "cm2", "m": "m", "kw": "kW", "c": "°C"}


def _room(cabin: Cabin, units: Units) -> Iterator[str]:
    volume_m3, people = cabin.volume_m3, cabin.people
    if volume_m3 is not None and volume_m3 > LARGE_M3:
        yield (
            f"{_is('volume_m3', volume_m3, units)}, more air than vans and boats hold: "
            f"{_in(volume_m3, 'ft3', 'volume_m3', units)}."
        )
    if people == 0:
        yield "people is 0, so nobody's breath is planned for: write who sleeps there."
    elif volume_m3 is not None and people and people > volume_m3 / M3_A_SLEEPER:
        room = units.given_said("m3", volume_m3)
        yield f"people is {people}, and so many cannot lie down in {room}."
    if cabin.altitude_m is not None and cabin.altitude_m > HIGH_M:
        yield (
            f"{_is('altitude_m', cabin.altitude_m, units)}, higher than most roads go: "
            f"{_in(cabin.altitude_m, 'ft', 'altitude_m', units, 3)}."
        )


def _vents(cabin: Cabin, units: Units) -> Iterator[str]:
    vents = {"vent_low_cm2": cabin.vent_low_cm2, "vent_high_cm2": cabin.vent_high_cm2}
    burns = cabin.burner_kw or cabin.burner_low_kw
    shut = [key for key, value in vents.items() if value == 0.0]
    if burns and len(shut) == len(vents):
        none = units.given_said("cm2", 0.0)
        yield f"Both vents are {none}, and a flame is lit: nothing lets fresh air in."
    elif burns and shut:
        yield (
            f"{shut[0]} is 0, a vent that is closed: in still air one opening alone "
            "passes little."
        )
    for key, value in vents.items():
        if value is None or value == 0.0:
            continue
        if value < SMALL_VENT_CM2:
            in_m2 = (
                f": {value:g} m2 would be {value * 1e4:g} cm2" if units is SI else ""
            )
            small = _is(key, value, units)
            yield f"{small}, a hole of a finger's width or less{in_m2}."
        elif value > LARGE_VENT_CM2:
            in_mm2 = f": {_in(value, 'mm2', key, units, 3)}" if units is SI else ""
            yield f"{_is(key, value, units)}, a hatch rather than a vent{in_mm2}."


def _heater(cabin: Cabin, units: Units) -> Iterator[str]:
    for key in ("burner_kw", "burner_low_kw"):
        value = getattr(cabin, key)
        if value is None or value == 0.0:
            continue
        if value > STRONG_KW:
            thousand = (
                _write(1000.0 * value, "btu_h")
                if units.is_us
                else f"{value:g} thousand BTU/h would be "
                f"{1000.0 * value * UNITS['btu_h'].scale:.2g} kW"
            )
            strong = _is(key, value, units)
            yield f"{strong}, more than portable heaters burn: {thousand}."
        elif value < WEAK_KW:
            weak = _is(key, value, units)
            yield f"{weak}, less than any heater burns: give {units.sign('kw')}."
    outside_c = cabin.outside_c
    butane = (cabin.fuel or {}).get("butane", 0.0)
    if butane > 0.9 and outside_c is not None and outside_c < FROZEN_BUTANE_C:
        cold = _told("outside_c", outside_c, units)
        yield (
            f"fuel is butane and outside_c {cold}: below "
            f"{units.given_said('c', FROZEN_BUTANE_C)} its cylinder gives no gas; look "
            "at its label, or keep it inside."
        )
    if cabin.burner_kw and cabin.fuel is None:
        yield "fuel is missing, and propane is taken: write what the heater burns."


def _weather(cabin: Cabin, units: Units) -> Iterator[str]:
    if cabin.outside_c is not None and cabin.outside_c > WARM_NIGHT_C:
        yield (
            f"{_is('outside_c', cabin.outside_c, units)}, a warm night for a heater: "
            f"{_in(cabin.outside_c, 'f', 'outside_c', units)}."
        )


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
