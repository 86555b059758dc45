"""Cabins that nobody has: drawn configs, each as a person could have written it."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from random import Random

from cabinvigil.daemon.commands.emulated_spans import EmulatedSpans
from cabinvigil.daemon.core.model import AlarmState, Command, Transition
from cabinvigil.daemon.parts.scan_text import SOURCES
from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin
from cabinvigil.daemon.rehearsal.fitted import fit
from cabinvigil.daemon.rehearsal.narrator import LineWriter
from cabinvigil.daemon.rehearsal.play import emulated_night, play
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.series import series_keys
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part

O2 = (
    *("o2_optical_line", "o2_cell_ads1115", "o2_key_register", "frame9_o2"),
    "o2_amplified_ads1115",
)
CO = ("frame9_co", "co_cell_ads1115", "co_named_i2c", "co_named_line")
CO2 = ("scd4x", "frame9_co2", None)
NEWER_CO2 = ("scd30", "stcc4", "sen6x", "modbus_co2")
"""Of odd seeds: what even ones draw stays as it was when one of them failed."""
MORE = (
    *("sht4x", "ds18b20", "tmp117", "sps30", "pm_frame", "sgp41", "ina226"),
    *("sht3x", "ina219", "ina228", "max17048", "pmsa003i"),
    *("frame9_gas", "gas_bead_ads1115"),
)
REST = tuple(
    sorted(set(REGISTRY) - {*O2, *CO, *CO2, *NEWER_CO2, *MORE} - {"bme280", "contact"})
)
"""Every other kind that there is, a new one without a line here.  A cabin has one at
most, of a draw of its own: what was drawn before it came stays."""
OPTIONS = {
    "frame9_co": ('mode = "question", answer_ppm = 0.1', "compensated = true"),
    "co_cell_ads1115": ('pins = "2-3"', "gain_ohm = 30000.0"),
    "o2_cell_ads1115": ('pins = "1"', 'barrier = "capillary"', "air_mv = 55.0"),
    "o2_key_register": ('barrier = "capillary"',),
    "frame9_o2": ('mode = "question"', 'barrier = "capillary"'),
    "frame9_co2": ("full_scale_ppm = 20000.0",),
    "modbus_co2": ("full_scale_ppm = 2000.0",),
    "scd30": ("altitude_m = 640.0", "temp_offset_c = 2.0"),
    "sen6x": ('model = "SEN63C"',),
    "stcc4": ('air = "own"',),
    "ina219": ("shunt_mohm = 20.0",),
    "ina226": ("shunt_mohm = 0.75",),
    "ina228": ("shunt_mohm = 0.75",),
    "co_named_i2c": ("answer_ppm = 0.1", "full_scale_ppm = 500.0"),
    "co_named_line": ("answer_ppm = 0.1", "full_scale_ppm = 2000.0"),
    "frame9_gas": ("answer_lel_pct = 0.2", "full_scale_lel_pct = 50.0"),
    "gas_bead_ads1115": ("mv_per_lel_pct = 0.8", 'pins = "2-3"', "bridge_mv = 2000.0"),
    "o2_amplified_ads1115": ('pins = "1"', "air_mv = 800.0"),
}
FUELS = ('"propane"', '"butane"', "{ propane = 0.4, butane = 0.6 }")


def drawn(seed: int) -> str:
    """Return a config as text; the same for the same seed."""
    random = Random(seed)
    volume_m3 = round(random.uniform(4.0, 40.0), 1)
    burner_kw = round(random.uniform(0.1, 0.16) * volume_m3, 2)
    vent_cm2 = round(random.uniform(90.0, 140.0) * burner_kw)
    lines = [
        "[cabin]",
        f'name = "drawn-{seed}"',
        f"volume_m3 = {volume_m3}",
        f"altitude_m = {random.uniform(0.0, 3000.0):.0f}.0",
        f"people = {random.randint(1, 3)}",
        f"burner_kw = {burner_kw}",
        f"vent_low_cm2 = {vent_cm2}",
        f"vent_high_cm2 = {vent_cm2}",
        f"outside_c = {random.uniform(-4.0, 10.0):.0f}",
        f"fuel = {random.choice(FUELS)}",
        "[buzzer]",
        'line = "GPIO17"',
        "[i2c.main]",
        'device = "/dev/i2c-1"',
        "[part.baro]",
        'kind = "bme280"',
        'bus = "main"',
        f"address = 0x{(baro := random.choice((0x76, 0x77))):x}",
        "[i2c.second]",
        'device = "/dev/i2c-8"',
    ]
    kinds = [random.choice(O2), random.choice(CO), random.choice(CO2)]
    if seed % 2:
        kinds[2] = Random(seed).choice(NEWER_CO2)
    kinds += random.sample(MORE, random.randint(0, 3))
    if seed % 3 == 0:
        kinds.append(Random(seed).choice(REST))
    fitted = [kind for kind in kinds if kind is not None]
    seats = _seats(fitted, baro)
    for index, kind in enumerate(fitted):
        lines += _part(f"part-{index}", kind, seats.get(kind), index, random)
    return "\n".join(lines) + "\n"


def _seats(kinds: Sequence[str], baro: int) -> dict[str, tuple[str, int]]:
    """Return bus and address of each kind on I2C: those with the fewest choose first.

    A converter is not shared here: its cells' inputs are options of their own.
    """
    on_i2c = [kind for kind in kinds if find_part(kind).bus == "i2c"]
    taken = {("main", baro)}
    seats = {}
    for kind in sorted(on_i2c, key=lambda one: len(find_part(one).addresses)):
        info = find_part(kind)
        ways = dict.fromkeys((info.address, *info.addresses))
        free = [(bus, at) for bus in ("main", "second") for at in ways]
        seats[kind] = next(one for one in free if one not in taken)
        taken.add(seats[kind])
    return seats


def _part(
    name: str, kind: str, seat: tuple[str, int] | None, index: int, random: Random
) -> list[str]:
    lines = [f"[part.{name}]", f'kind = "{kind}"']
    if seat is not None:
        bus, address = seat
        lines += [f'bus = "{bus}"', f"address = 0x{address:x}"]
    elif find_part(kind).bus == "serial":
        lines.append(f'port = "/dev/serial/by-path/platform-usb-0:1.{index}:1.0-port0"')
    else:
        lines.append('path = "/sys/bus/w1/devices/28-000000000001/w1_slave"')
        lines.append(f'place = "{random.choice(("", "glass", "outside"))}"')
    if kind == "tmp117":
        lines.append('place = "glass"')
    if kind in OPTIONS and random.random() < 0.5:
        lines.append(f"options = {{ {random.choice(OPTIONS[kind])} }}")
    if kind in ("frame9_gas", "gas_bead_ads1115"):
        lines.append('place = "floor"')
    if kind in (*O2, *CO, *CO2, *NEWER_CO2):
        lines.append('temperature_from = "baro"')
        lines.append('pressure_from = "baro"')
        lines.append('humidity_from = "baro"')
    else:
        needs = find_part(kind).needs
        lines += [f'{SOURCES[one]} = "baro"' for one in SOURCES if one in needs]
    return lines


@dataclass
class Heard:
    """What one rehearsed night in a drawn cabin gave."""

    rings: list[tuple[float, Transition]]
    """Alarms of the air that rang, with their seconds."""
    faults: list[str]
    """Every alarm of a part or of the watch that stood, however grave."""
    missing: list[str]
    """The series that had no value at the end."""


OF_PARTS = ("sensor", "gases-disagree", "stratified", "watch-fault")
"""How alarms on the watch and its parts begin; the others are of the air."""


def rehearsed(
    settings: Settings, spans: EmulatedSpans, name: str, hours: float, seed: int
) -> Heard:
    """Play a night as `rehearse` does, judged every ten seconds."""
    settings = replace(settings, watch=changed(settings.watch, tick_s=10.0))
    night = emulated_night(
        settings, renderer("en"), fit(name, settings).night, hours, seed, spans.make
    )
    told: list[tuple[float, Transition]] = []

    def write(command: Command, time_s: float) -> None:
        if isinstance(command, Transition) and command.was is AlarmState.NORMAL:
            told.append((time_s, command))

    watcher = run_virtual(play(night, lambda _clock, _report: [LineWriter(write)]))
    keys = series_keys(settings.parts, part_infos(settings.parts)).values()
    heard = Heard([], [], sorted(set(keys) - set(watcher.numbers())))
    for at_s, one in told:
        if one.alarm.startswith(OF_PARTS):
            heard.faults.append(f"{one.alarm} at {at_s:.0f} s")
        else:
            heard.rings.append((at_s, one))
    return heard


def crossing_h(settings: Settings, o2_pct: float) -> float:
    """Return when the shut night's oxygen is down to this; 9 h where it never is."""
    cabin = EmulatedCabin(settings.cabin, fit("shut", settings).night)
    for minute in range(540):
        cabin.advance(60.0 * minute)
        if cabin.truth().o2_pct <= o2_pct:
            return minute / 60.0
    return 9.0
