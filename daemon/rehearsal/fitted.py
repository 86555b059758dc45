"""A named night, fitted to the cabin and the parts that a config has."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from cabinvigil.daemon.air.figures import ALTITUDE_M, EXAMPLE
from cabinvigil.daemon.core.contacts import WORDS, means_of
from cabinvigil.daemon.log.csv import RecordingError
from cabinvigil.daemon.rehearsal.faults import WHOLE_BUS
from cabinvigil.daemon.rehearsal.nights import (
    Failure,
    NamedNight,
    NightFigures,
)
from cabinvigil.daemon.rehearsal.recorded import contact_columns
from cabinvigil.daemon.rehearsal.trials import plays_of
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.guards import watched
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.parts import name_mistake
from cabinvigil.daemon.settings.values import Cabin, PartSettings, changed
from cabinvigil.daemon.text.units_said import SI, Units
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.quantity import QUANTITIES

LOW_SHARE = EXAMPLE.burner_low_kw / EXAMPLE.burner_kw
"""A heater's lowest setting, where the config has its highest alone."""
SHOWN_BY: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "shut": ("o2_pct", "co2_ppm"),
        "icing": ("o2_pct", "co2_ppm"),
        "sooty": ("co_ppm",),
        "leak": ("o2_pct",),
        "flat": ("supply_v", "charge_pct"),
        "crowded": ("co2_ppm", "o2_pct"),
        "trials": ("o2_pct", "co2_ppm"),
    }
)
"""What a night is about: without any of these nobody sees it."""
PLAYED_BY: Mapping[str, str] = MappingProxyType(
    {
        "bunk-o2": "o2_pct",
        "bunk-co2": "co2_ppm",
        "bunk-air": "rh_pct",
        "bunk-co": "co_ppm",
        "baro": "pressure_hpa",
    }
)
"""The *Lapwing*'s parts that fail; elsewhere the last that gives the same takes the
role."""
CO_ALARM = "co-alarm"
FREE_LINES = tuple(f"GPIO{number}" for number in range(28))
ADDED = (
    "No contact of a CO alarm is here, so this night adds one, co-alarm: hardware.md "
    "shows how a certified alarm is wired."
)


@dataclass(frozen=True, slots=True)
class FittedNight:
    """A night as it is played in one cabin, and what has to be said of that."""

    night: NamedNight
    notes: tuple[str, ...] = ()
    """What was taken for granted, and what the night lacks here; a sentence each."""


def fit(name: str, settings: Settings, units: Units = SI) -> FittedNight:
    """Fit a night to a config.

    Args:
        name: of the night.
        settings: of the config.
        units: in which the notes are told.

    Raises:
        KeyError: there is no such night.
    """
    cabin = settings.cabin
    high_kw = cabin.burner_kw
    if high_kw is None:
        low_kw = cabin.burner_low_kw
        high_kw = EXAMPLE.burner_kw if low_kw is None else low_kw / LOW_SHARE
    low_kw = cabin.burner_low_kw
    night = plays_of(
        NightFigures(
            low_kw=high_kw * LOW_SHARE if low_kw is None else min(low_kw, high_kw),
            high_kw=high_kw,
            people=EXAMPLE.people if cabin.people is None else float(cabin.people),
            outside_c=EXAMPLE.outside_c if cabin.outside_c is None else cabin.outside_c,
            vents=_vents(cabin),
        )
    )[name]
    failures = tuple(_failures(night, settings))
    full = staged(name, settings)
    notes = [*_granted(cabin, units), *_lacks(name, full)]
    if full is not settings:
        notes.append(ADDED)
    if len(failures) < len(night.failures):
        notes.append(
            "Some of the sensors that fail in this night are not in this cabin."
        )
    if high_kw <= 0.0 and night.changes:
        notes.append("This cabin has no heater, so none is lit.")
    return FittedNight(replace(night, failures=failures), tuple(notes))


def _vents(cabin: Cabin) -> frozenset[str]:
    """Return where there are vents; one that is not stated is taken to be there."""
    areas = {"floor": cabin.vent_low_cm2, "roof": cabin.vent_high_cm2}
    return frozenset(place for place, cm2 in areas.items() if cm2 != 0.0)


def staged(name: str, settings: Settings) -> Settings:
    """Return what the night is played with: a CO alarm's contact, where it needs one.

    A night that is about it would show nothing without, and any cabin can have one.
    """
    has_one = any(part.means == "co" for part in settings.parts.values())
    if name != "alarm" or has_one:
        return settings
    return _with_contact(settings, CO_ALARM, "co")


def with_contacts(
    settings: Settings, channels: Iterable[str]
) -> tuple[Settings, tuple[str, ...]]:
    """Return what a recording is played with: a contact for each column of one.

    Args:
        settings: of the config.
        channels: the recording's.

    Returns:
        The settings, and what has to be said of contacts that were added.

    Raises:
        RecordingError: a column names what is no such contact.
    """
    notes: list[str] = []
    for channel in contact_columns(channels):
        means = means_of(channel)
        named = channel.partition("__")[2]
        name = named or f"{means}-contact"
        has_one = any(part.means == means for part in settings.parts.values())
        if has_one and not named:
            continue
        if name in settings.parts:
            if settings.parts[name].means == means:
                continue
            raise RecordingError(
                f"column {channel}: {name} is no {WORDS[means]} in the config; name "
                f"one that is, or call the column contact_{means}"
            )
        if name_mistake(name, "contact") is not None:
            raise RecordingError(
                f"column {channel}: {name[:40]!r} is not a name for a contact; call "
                f"the column contact_{means}"
            )
        settings = _with_contact(settings, name, means)
        notes.append(
            f"No {WORDS[means]} of the column {channel} is here, so {name} is added: "
            "hardware.md shows how one is wired."
        )
    return settings, tuple(notes)


def _with_contact(settings: Settings, name: str, means: str) -> Settings:
    lines = {part.line for part in settings.parts.values()}
    line = next((one for one in FREE_LINES if one not in lines), FREE_LINES[0])
    contact = changed(PartSettings(kind="contact", line=line), means=means)
    parts = {**settings.parts, name: _filled(contact)}
    return replace(settings, parts=MappingProxyType(parts))


def _filled(part: PartSettings) -> PartSettings:
    info = find_part(part.kind)
    return changed(part, interval_s=info.interval_s, max_age_s=info.max_age_s)


def _failures(night: NamedNight, settings: Settings) -> Iterator[Failure]:
    """Let the parts fail that are here in place of the *Lapwing*'s."""
    infos = part_infos(settings.parts)
    for failure in night.failures:
        if failure.part == WHOLE_BUS:
            if settings.i2c:
                yield failure
            continue
        quantity = PLAYED_BY[failure.part]
        givers = [
            name
            for name, part in settings.parts.items()
            if quantity in infos[name].gives and quantity not in part.leave_out
        ]
        if givers:
            yield replace(failure, part=givers[-1])


def _lacks(name: str, settings: Settings) -> Iterator[str]:
    """Say what of a night no part here sees."""
    wanted = SHOWN_BY.get(name, ())
    has = watched(settings.parts, part_infos(settings.parts))
    if wanted and not any(quantity in has for quantity in wanted):
        words = " or ".join(QUANTITIES[quantity].words for quantity in wanted)
        yield (
            f"No sensor here measures {words}, which this night is about: the rest of "
            "it is played."
        )


def _granted(cabin: Cabin, units: Units) -> Iterator[str]:
    """Say which figures are the *Lapwing*'s, since the config has none."""
    said = units.given_said
    figures = {
        "volume": (cabin.volume_m3, said("m3", EXAMPLE.volume_m3)),
        "altitude": (cabin.altitude_m, said("m", ALTITUDE_M)),
        "heater": (
            cabin.burner_kw if cabin.burner_kw is not None else cabin.burner_low_kw,
            said("kw", EXAMPLE.burner_kw),
        ),
        "floor vent": (cabin.vent_low_cm2, said("cm2", EXAMPLE.vent_low_cm2)),
        "roof vent": (cabin.vent_high_cm2, said("cm2", EXAMPLE.vent_high_cm2)),
        "sleepers": (cabin.people, f"{EXAMPLE.people:g}"),
        "outside": (cabin.outside_c, said("c", EXAMPLE.outside_c)),
    }
    taken = [
        f"{words} {usual}" for words, (value, usual) in figures.items() if value is None
    ]
    if taken:
        yield f"Assumed, since [cabin] does not say: {', '.join(taken)}."
