"""Which instance of an alarm covers which: a config names whole alarms.

`suppressed_by = ["sensor-fault"]` means the fault of the same thing: a dead CO part
does not explain why the oxygen part is silent, and must not hide it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.drivers.kit.quantity import split_channel

Words = frozenset[str]


def cover(
    specs: Sequence[AlarmSpec],
    series: Mapping[str, SeriesSpec],
    bus_of: Mapping[str, str],
) -> tuple[AlarmSpec, ...]:
    """Replace each alarm's name in `suppressed_by` by its instances on the same thing.

    Args:
        specs: every alarm, an instance each; what is named by a whole id stays.
        series: by key.
        bus_of: the bus of each part that depends on one.
    """
    about = {spec.id: _about(spec, series, bus_of) for spec in specs}
    return tuple(
        replace(spec, suppressed_by=_instances(spec, about))
        if spec.suppressed_by
        else spec
        for spec in specs
    )


def _instances(spec: AlarmSpec, about: Mapping[str, Words | None]) -> tuple[str, ...]:
    found: list[str] = []
    own = about[spec.id]
    for name in spec.suppressed_by:
        if name in about or "/" in name:
            found.append(name)
            continue
        for other, its in about.items():
            is_same_thing = own is None or its is None or own & its
            if other.startswith(f"{name}/") and is_same_thing:
                found.append(other)
    return tuple(dict.fromkeys(found))


def _about(
    spec: AlarmSpec, series: Mapping[str, SeriesSpec], bus_of: Mapping[str, str]
) -> Words | None:
    """Return the series that an alarm is about; None: the cabin as a whole.

    What no series depends on, such as the log, is about its own name.
    """
    subject = spec.id.partition("/")[2]
    if not subject:
        return None
    per = rules.find(spec.kind).PER
    found = {
        key
        for key, one in series.items()
        if subject in _names(per, key, one.part, bus_of)
    }
    return frozenset(found or {subject})


def _names(per: str, key: str, part: str, bus_of: Mapping[str, str]) -> tuple[str, ...]:
    """Say by which subjects an alarm of this scope means a series."""
    split = split_channel(key)
    names = {
        "part": (part,),
        "source": (part, bus_of.get(part, "")),
        "channel": (key.split("__", 1)[0],),
        "quantity": ("" if split is None else split[0].name,),
    }
    return names.get(per, (key,))
