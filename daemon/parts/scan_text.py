"""What a scan says: what answers, what it would be in the config, what is missing."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from cabinvigil.daemon.parts.scan import Scan, ScanAnswer
from cabinvigil.daemon.settings.config import PartSettings, Settings
from cabinvigil.drivers import part as find_part

USUAL_NAMES = {
    "o2_pct": "bunk-o2",
    "co_ppm": "bunk-co",
    "co2_ppm": "bunk-co2",
    "pressure_hpa": "baro",
    "supply_v": "battery",
    "charge_pct": "gauge",
    "pm2_5_ugm3": "dust",
    "voc_raw": "voc",
    "rh_pct": "bunk-air",
    "temp_c": "pane",
}
"""A name by what a part gives, the first that fits."""
SOURCES = {
    "pressure_hpa": "pressure_from",
    "temp_c": "temperature_from",
    "rh_pct": "humidity_from",
}


NO_BUS = (
    "There is no I2C bus here: switch it on (`sudo raspi-config`, Interface Options, "
    "I2C), or name one with --bus"
)


@dataclass(frozen=True, slots=True)
class ScanLine:
    """One thing found, beside what the config has of it."""

    wire: str
    """The bus's name, `serial` or `1-wire`."""
    answer: ScanAnswer
    name: str = ""
    """Its name in the config; '' where the config does not name it."""
    is_another: bool = False
    """The config names another kind there."""


def compared(scan: Scan, settings: Settings | None) -> list[ScanLine]:
    """Put what was found beside the config."""
    parts = {} if settings is None else settings.parts
    lines = []
    for bus, answers in scan.buses.items():
        if isinstance(answers, str):
            continue
        for answer in answers:
            at = int(answer.where, 16)
            own = [n for n, p in parts.items() if (p.bus, p.address) == (bus, at)]
            lines += _lines(bus, answer, own, parts)
    for wire, key, found in (
        ("serial", "port", scan.ports),
        ("1-wire", "path", scan.files),
        ("line", "line", scan.lines),
    ):
        for answer in found:
            own = [n for n, p in parts.items() if getattr(p, key) == answer.where]
            lines += _lines(wire, answer, own, parts)
    return lines


def _lines(
    wire: str, answer: ScanAnswer, own: Sequence[str], parts: Mapping[str, PartSettings]
) -> list[ScanLine]:
    """Return one line, or one for each part that shares a converter."""
    if not own:
        return [ScanLine(wire, answer)]
    return [
        ScanLine(
            wire,
            answer,
            name,
            is_another=(bool(answer.kinds) or answer.is_mux)
            and not _is_there(parts[name], wire, answer),
        )
        for name in own
    ]


def _is_there(part: PartSettings, wire: str, answer: ScanAnswer) -> bool:
    """Return whether what was found there is the part, or what watches its wire."""
    if part.line is not None and wire != "line":
        return any(find_part(kind).inputs({}) is not None for kind in answer.kinds)
    return part.kind in answer.kinds


def missing(lines: Sequence[ScanLine], settings: Settings | None) -> list[str]:
    """Return the parts that the config names and that were not found as such."""
    if settings is None:
        return []
    found = {
        line.name
        for line in lines
        if line.answer.is_there and line.answer.kinds and not line.is_another
    }
    return [name for name in settings.parts if name not in found]


def told(scan: Scan, settings: Settings | None) -> Iterator[str]:
    """Report what was found: the verdict, then each device."""
    lines = compared(scan, settings)
    if scan.buses or any(line.answer.is_there for line in lines):
        yield _verdict(scan, lines, settings)
    if not scan.buses:
        yield NO_BUS
    empty = [bus for bus in scan.channels.unasked if scan.buses.get(bus) == []]
    for bus, answers in scan.buses.items():
        if bus in empty:
            continue
        place = "" if bus not in scan.channels.before else f", {scan.devices.get(bus)}"
        yield f"On the I2C bus {bus}{place}"
        if isinstance(answers, str):
            yield f"  {answers}"
        elif not answers:
            yield (
                "  nothing responds: check the power supply, and which wire is SDA "
                "and SCL"
            )
        yield from (_line(line, settings) for line in lines if line.wire == bus)
    if empty:
        yield f"Nothing responds on {', '.join(sorted(empty))}"
    if scan.channels.others:
        yield "I2C buses that were not looked at: --bus does that"
        yield from (f"  {other}" for other in scan.channels.others)
    for wire, heading in (
        ("serial", "On the serial ports"),
        ("1-wire", "On 1-wire"),
        ("line", "On the lines of contacts"),
    ):
        own = [line for line in lines if line.wire == wire]
        if wire == "line" and not own:
            continue  # few have any, and none can be found that no config names
        yield heading if own else f"{heading}: nothing here"
        yield from (_line(line, settings) for line in own)
    absent = missing(lines, settings)
    if absent and settings is not None:
        yield "In the config, but not found"
        yield from (f"  {name}: {_place(settings.parts[name])}" for name in absent)
    new = suggestions(lines, settings, scan.devices, scan.channels.moving)
    if new:
        yield "Lines for what the config does not have"
        yield from (f"  {line}" if line else "" for line in new)


def _verdict(scan: Scan, lines: Sequence[ScanLine], settings: Settings | None) -> str:
    """Return in one sentence whether the config's sensors are there."""
    failed = [bus for bus, found in scan.buses.items() if isinstance(found, str)]
    if failed:
        return f"NOT FULLY SCANNED: {', '.join(failed)}."
    found = [line for line in lines if line.answer.is_there]
    if settings is None:
        number = f"{len(found) or 'No'} device{'' if len(found) == 1 else 's'}"
        return f"{number} found, with no config to compare."
    absent, count = missing(lines, settings), len(settings.parts)
    new = sum(not line.name for line in found)
    more = f" {new} more respond that it does not name." if new else ""
    if absent:
        named = ", ".join(absent)
        return f"NOT FOUND: {named}, of {count} sensors in the config.{more}"
    return f"All {count} sensors in the config respond.{more}"


def _line(line: ScanLine, settings: Settings | None) -> str:
    answer = line.answer
    if answer.kinds:
        what = " or ".join(f"{kind} ({find_part(kind).title})" for kind in answer.kinds)
    elif answer.is_there and not answer.text:
        what = "something unknown"
    else:
        what = answer.text
    if answer.text and answer.text != what:
        what = f"{what}; {answer.text}"
    if line.is_another and settings is not None:
        kind = settings.parts[line.name].kind
        what = f"{what}; but the config has {line.name} there, a {kind}"
    elif line.name:
        what = f"{what}; in the config as {line.name}"
    return f"  {answer.where}  {what}"


def _place(part: PartSettings) -> str:
    wire = part.port or part.path or part.line or part.bus or ""
    at = (
        f" 0x{part.address:02x}"
        if wire == part.bus and part.address is not None
        else ""
    )
    return f"{part.kind} at {wire}{at}"


def suggestions(
    lines: Sequence[ScanLine],
    settings: Settings | None,
    devices: Mapping[str, str],
    moving: Mapping[str, str] = MappingProxyType({}),
) -> list[str]:
    """Return the config lines of what the config does not name.

    Args:
        lines: what was found.
        settings: what is named.
        devices: device file by the bus's name.
        moving: buses whose number may be another's after a restart, with the remedy.
    """
    taken = set() if settings is None else set(settings.parts)
    givers = _givers(settings)
    new: list[tuple[str, str, ScanLine]] = []
    for line in lines:
        if line.name or not line.answer.kinds or not line.answer.is_there:
            continue
        kind = line.answer.kinds[0]
        name = _name(kind, taken)
        taken.add(name)
        new.append((name, kind, line))
        for quantity in find_part(kind).gives:
            givers.setdefault(quantity, name)
    told = []
    known = {} if settings is None else settings.i2c
    for bus in dict.fromkeys(line.wire for _, _, line in new):
        if bus in devices and bus not in known:
            told.append(f"[i2c.{bus}]")
            if bus in moving:
                told.append(f"# may be another bus after a restart: {moving[bus]}")
            told += [f'device = "{devices[bus]}"', ""]
    for name, kind, line in new:
        told += [*_table(name, kind, line, givers), ""]
    return told[:-1]


def _givers(settings: Settings | None) -> dict[str, str]:
    """Return which part gives each quantity at the bunk, by the config."""
    givers: dict[str, str] = {}
    if settings is not None:
        for name, part in settings.parts.items():
            if part.place == "":
                for quantity in find_part(part.kind).gives:
                    givers.setdefault(quantity, name)
    return givers


def _name(kind: str, taken: set[str]) -> str:
    gives = find_part(kind).gives
    base = next(
        (name for quantity, name in USUAL_NAMES.items() if quantity in gives), kind
    )
    name, number = base, 2
    while name in taken:
        name, number = f"{base}-{number}", number + 1
    return name


def _table(
    name: str, kind: str, line: ScanLine, givers: Mapping[str, str]
) -> list[str]:
    info, answer = find_part(kind), line.answer
    table = [f"[part.{name}]"]
    if len(answer.kinds) > 1:
        table.append(
            f"# or kind = {', '.join(answer.kinds[1:])}: it does not say which"
        )
    table.append(f'kind = "{kind}"')
    if line.wire == "serial":
        table.append(f'port = "{answer.where}"')
    elif line.wire == "1-wire":
        table += [f'path = "{answer.where}"', 'place = "glass"']
    else:
        table.append(f'bus = "{line.wire}"')
        if int(answer.where, 16) != info.address:
            table.append(f"address = {answer.where}")
    for quantity in info.needs:
        giver = givers.get(quantity)
        if giver is not None and giver != name and quantity in SOURCES:
            table.append(f'{SOURCES[quantity]} = "{giver}"')
    if "shunt_mohm" in info.options:
        table.append("# and, as printed on its shunt: options = { shunt_mohm = ... }")
    return table


def as_plain(scan: Scan, settings: Settings | None) -> dict[str, Any]:
    """Return a scan as JSON can hold it."""
    lines = compared(scan, settings)
    return {
        "found": [
            {
                "wire": line.wire,
                "where": line.answer.where,
                "kinds": list(line.answer.kinds),
                "there": line.answer.is_there,
                "text": line.answer.text,
                "name": line.name,
                "another": line.is_another,
            }
            for line in lines
        ],
        "failed": {b: a for b, a in scan.buses.items() if isinstance(a, str)},
        "missing": missing(lines, settings),
        "config": suggestions(lines, settings, scan.devices, scan.channels.moving),
        "others": list(scan.channels.others),
    }
