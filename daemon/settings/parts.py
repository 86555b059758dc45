"""The parts of a config: each is known, has its wire, and no two share an address."""

import re
from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from typing import Any

from cabinvigil.daemon.settings.checks import one_of
from cabinvigil.daemon.settings.contacts import contact_mistakes
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    Mistake,
    listed,
    nearest,
    one_line,
    shown,
    unknown_key,
)
from cabinvigil.daemon.settings.ports import may_move
from cabinvigil.daemon.settings.read_table import shape, shape_rest
from cabinvigil.daemon.settings.registries import Registries
from cabinvigil.daemon.settings.values import I2cSettings, PartSettings, changed
from cabinvigil.drivers.kit.steps import PartInfo

_NAME = re.compile(r"[a-z][a-z0-9]*([_-][a-z0-9]+)*")
_LONGEST_NAME = 24
"""So that a sentence of 140 characters holds it with room for what happened."""

TAKEN = frozenset(
    {
        *("ask", "button", "buzzer", "clock", "host", "light", "log", "loop"),
        *(
            "morning",
            "mqtt",
            "phone",
            "second-sounder",
            "settings",
            "spans",
            "state",
            "supply",
            "trend",
        ),
    }
)
"""Names under which the monitor reports its own faults."""

_WIRES = {"i2c": "bus", "serial": "port", "file": "path", "line": "line"}
"""The key that names a part's wire, by the kind of wire it wants."""
_EXAMPLES = {
    "bus": '"main", the name of an [i2c.main] table',
    "port": '"/dev/serial0"',
    "path": '"/sys/bus/w1/devices/28-000000000001/w1_slave"',
    "line": '"GPIO5", by its name',
}

Mistakes = list[Mistake]


def name_mistake(name: str, what: str) -> BadValueError | None:
    """Return what is wrong with the name of a part or bus, or None."""
    if not _NAME.fullmatch(name) or len(name) > _LONGEST_NAME:
        return BadValueError(
            f"is not a name for a {what}",
            f"use at most {_LONGEST_NAME} small letters and digits, with single "
            "hyphens or underscores between them",
        )
    if name in TAKEN:
        return BadValueError(
            f"is a name that the monitor uses for its own faults, not for a {what}",
            "choose another name",
        )
    return None


def tables(
    plain: Any, file: str, at: str, mistakes: Mistakes
) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Go through tables with names of their own; yields (name, key path, table)."""
    if not isinstance(plain, Mapping):
        mend = f"give each its own table, [{at}.<name>]"
        mistakes.append(Mistake(file, at, "is not a set of named tables", mend))
        return
    for name, table in plain.items():
        path = f"{at}.{one_line(str(name))[:60]}"
        if isinstance(table, Mapping):
            yield str(name), path, table
        else:
            mend = f"give it a table of its own, [{at}.<name>]"
            mistakes.append(Mistake(file, path, "is not a table", mend))


def build_buses(
    plain: Any, file: str, mistakes: Mistakes
) -> dict[str, I2cSettings | None]:
    """Read the I2C buses; a bus with a mistake is kept by name, as None."""
    buses: dict[str, I2cSettings | None] = {}
    devices: dict[str, str] = {}
    for name, at, table in tables(plain, file, "i2c", mistakes):
        wrong = name_mistake(name, "bus")
        if wrong is not None:
            mistakes.append(Mistake(file, at, wrong.what, wrong.mend))
        bus = shape(I2cSettings, table, file, at, mistakes)
        buses[name] = bus
        if bus is None:
            continue
        if bus.device in devices:
            # Two names would mean two locks on one wire.
            what = f"is {shown(bus.device)}, which [i2c.{devices[bus.device]}] has too"
            mend = "keep one table for each device file"
            mistakes.append(Mistake(file, f"{at}.device", what, mend))
        devices.setdefault(bus.device, name)
    return buses


def build_parts(
    plain: Any,
    buses: Mapping[str, I2cSettings | None],
    file: str,
    known: Registries,
    mistakes: Mistakes,
) -> dict[str, PartSettings]:
    """Read the parts and check each against its registry entry and its fellows."""
    parts: dict[str, PartSettings] = {}
    infos: dict[str, PartInfo] = {}
    unread: set[str] = set()
    """Parts that cannot be read; to name one as a source is no second mistake."""
    wrong_keys: dict[str, AbstractSet[str]] = {}
    """Of each part those that are told, and that no further mistake is about."""
    for name, at, table in tables(plain, file, "part", mistakes):
        wrong = name_mistake(name, "part")
        if wrong is None and name in buses:
            wrong = BadValueError("has the name of a bus", "choose another name")
        if wrong is not None:
            mistakes.append(Mistake(file, at, wrong.what, wrong.mend))
        part, wrong_keys[name] = shape_rest(PartSettings, table, file, at, mistakes)
        if part is None:
            unread.add(name)
            continue
        found = [
            (key, one)
            for key, one in _part_mistakes(part, buses, known)
            if not _hangs_on(key, wrong_keys[name])
        ]
        mistakes += [Mistake(file, f"{at}.{k}", w.what, w.mend) for k, w in found]
        if part.kind in known.part_names():
            infos[name] = known.part(part.kind)
            part = _filled(part, infos[name])
        parts[name] = part
    for name, part in parts.items():
        found = [*_shared_mistakes(name, part, parts, infos, wrong_keys)]
        found += _source_mistakes(name, part, parts, infos, unread)
        found += _twin_mistakes(name, part, parts, known)
        for key, wrong in found:
            mistakes.append(Mistake(file, f"part.{name}.{key}", wrong.what, wrong.mend))
    return parts


def _hangs_on(key: str, wrong: AbstractSet[str]) -> bool:
    """Return whether what is found at a key may come of one that is told already."""
    bare = re.split(r"[.\[]", key)[0]
    return bare in wrong or _JUDGED_WITH.get(bare) in wrong


_JUDGED_WITH = {"max_age_s": "interval_s", "port": "options"}
"""What two keys together make a mistake: the one that is told, and the other."""


def _filled(part: PartSettings, info: PartInfo) -> PartSettings:
    """Put the part's own figures where the config names none."""
    return changed(
        part,
        address=part.address if part.address is not None else info.address or None,
        interval_s=part.interval_s or info.interval_s,
        max_age_s=part.max_age_s or info.max_age_s,
    )


Found = Iterator[tuple[str, BadValueError]]


def _part_mistakes(
    part: PartSettings, buses: Mapping[str, I2cSettings | None], known: Registries
) -> Found:
    try:
        one_of(part.kind, known.part_names())
    except BadValueError as error:
        yield "kind", error
        return
    info = known.part(part.kind)
    yield from _wire_mistakes(part, info, buses)
    yield from contact_mistakes(part, info)
    yield from _nameless_mistakes(part, info, known)
    yield from _option_mistakes(part, info)
    yield from _left_out_mistakes(part, info)
    interval_s = part.interval_s or info.interval_s
    max_age_s = part.max_age_s or info.max_age_s
    if max_age_s < interval_s:
        yield (
            "max_age_s",
            BadValueError(
                f"is {max_age_s:g}, shorter than the {interval_s:g} s between two "
                "values, so that every value would be stale",
                f"give {3 * interval_s:g} or so",
            ),
        )


def _wire_mistakes(
    part: PartSettings, info: PartInfo, buses: Mapping[str, I2cSettings | None]
) -> Found:
    wanted = _WIRES[info.bus]
    for key in _WIRES.values():
        is_beside = (wanted, key) == ("line", "bus")  # its wire may be watched
        if key != wanted and not is_beside and getattr(part, key) is not None:
            mend = f"remove it and name `{wanted}`"
            yield key, BadValueError(f"does not suit a {info.name}", mend)
    wire = getattr(part, wanted)
    if wire is None:
        yield (
            wanted,
            BadValueError("is missing", f"add `{wanted} = ` {_EXAMPLES[wanted]}"),
        )
    if wanted in ("bus", "line") and part.bus is not None and part.bus not in buses:
        close = nearest(part.bus, tuple(buses))
        hint = f"write `{close}` if that was meant, or " if close else ""
        mend = f'{hint}add [i2c.{one_line(part.bus)[:40]}] with device = "/dev/i2c-1"'
        what = f"names {shown(part.bus)}, which no [i2c] table has"
        yield "bus", BadValueError(what, mend)
    if part.address is None or wanted == "line":
        return
    if wanted != "bus":
        mend = "remove it: only a sensor on I2C has one"
        yield "address", BadValueError(f"does not suit a {info.name}", mend)
    elif info.addresses and part.address not in info.addresses:
        mend = "give one of " + listed(f"0x{one:02x}" for one in info.addresses)
        what = f"is 0x{part.address:02x}, which no {info.name} can have"
        yield "address", BadValueError(what, mend)


def _nameless_mistakes(part: PartSettings, info: PartInfo, known: Registries) -> Found:
    """Refuse a name that may move for a part whose messages could be another's."""
    port = part.port
    if port is None or not may_move(port) or info.says_what(part.options):
        return
    what = (
        f"is {shown(port)}, which may be another adapter's name after a restart, and "
        f"the replies of a {info.name} do not say which gas they measure"
    )
    yield "port", BadValueError(what, known.port_names.mend(port))


def _left_out_mistakes(part: PartSettings, info: PartInfo) -> Found:
    for index, quantity in enumerate(part.leave_out):
        if quantity not in info.gives:
            mend = f"remove it, or write one of {listed(info.gives)}"
            what = f"is {shown(quantity)}, which a {info.name} does not measure"
            yield f"leave_out[{index}]", BadValueError(what, mend)
    if info.gives and set(info.gives) <= set(part.leave_out):
        what = "leaves out all that the sensor measures"
        yield (
            "leave_out",
            BadValueError(what, "remove the whole sensor from the config"),
        )


def _option_mistakes(part: PartSettings, info: PartInfo) -> Found:
    strange = [key for key in part.options if key not in info.options]
    for key in strange:
        value = part.options[key]
        where = f"a {info.name}"
        wrong = unknown_key(str(key), value, tuple(info.options), where)
        yield f"options.{one_line(str(key))[:60]}", wrong
    if strange:
        return
    try:
        info.make(part.options)
    except (ValueError, TypeError, KeyError) as error:
        reason = one_line(str(error)).rstrip(". ")[:160]
        mend = "; ".join(f"{key}: {text}" for key, text in info.options.items())
        mend = f"fix it ({one_line(mend)[:200]})"
        yield "options", BadValueError(f"cannot be used ({reason})", mend)


def _twin_mistakes(
    name: str, part: PartSettings, parts: Mapping[str, PartSettings], known: Registries
) -> Found:
    """Refuse names that may move for two parts of one kind: a swap shows in nothing."""
    port = part.port
    if port is None or not may_move(port):
        return
    for other, fellow in parts.items():
        if other == name:
            return
        twin = fellow.port
        if fellow.kind != part.kind or twin in (None, port) or not may_move(twin or ""):
            continue
        what = (
            f"is {shown(port)}, and may change places with [part.{other}] at "
            f"{shown(twin)} after a restart: nothing that a {part.kind} sends "
            "distinguishes the two"
        )
        yield "port", BadValueError(what, known.port_names.mend(port))


def _shared_mistakes(
    name: str,
    part: PartSettings,
    parts: Mapping[str, PartSettings],
    infos: Mapping[str, PartInfo],
    wrong_keys: Mapping[str, AbstractSet[str]],
) -> Found:
    """Look for what two parts cannot share."""
    for other, fellow in parts.items():
        if other == name:
            break  # each pair once, told at the later of the two
        # Where an address cannot be read, the part's usual one stands in for it.
        is_known = "address" not in wrong_keys[name] | wrong_keys[other]
        if (
            is_known
            and part.bus
            and (part.bus, part.address) == (fellow.bus, fellow.address)
        ):
            yield from _one_address(name, part, other, fellow, infos)
        for key in ("port", "path", "line"):
            wire = getattr(part, key)
            if wire is not None and wire == getattr(fellow, key):
                what = f"is {shown(wire)}, which [part.{other}] has too"
                yield key, BadValueError(what, "give each sensor its own")


def _one_address(
    name: str,
    part: PartSettings,
    other: str,
    fellow: PartSettings,
    infos: Mapping[str, PartInfo],
) -> Found:
    """Let two parts share a chip by inputs of their own, and nothing else."""
    own, others = (
        info.inputs(one.options) if info is not None else None
        for one, info in ((part, infos.get(name)), (fellow, infos.get(other)))
    )
    where = f"0x{part.address:02x}" if part.address else "the same address"
    where = f"{where} on bus {one_line(part.bus or '')[:40]}"
    if own is None or others is None:
        what = f"is {where}, as [part.{other}] has"
        yield "address", BadValueError(what, _way_apart((name, other), infos))
        return
    if both := sorted(own & others):
        pins = " and ".join(f"AIN{one}" for one in both)
        what = f"reads {pins} of the converter at {where}, as [part.{other}] does"
        mend = 'give each inputs of its own, as pins = "2-3", or another address'
        yield "options.pins", BadValueError(what, mend)


def _way_apart(names: tuple[str, str], infos: Mapping[str, PartInfo]) -> str:
    """Say how two at one address are kept apart: some parts have one address alone."""
    fixed = [n for n in names if n in infos and len(infos[n].addresses) == 1]
    if not fixed:
        return "give one of the two another address"
    if len(fixed) == 1:
        (movable,) = set(names) - set(fixed)
        return f"give {movable} another address ({fixed[0]} has this one only)"
    return "both have this one only: give one of them a bus of its own, [i2c.<name>]"


def _source_mistakes(
    name: str,
    part: PartSettings,
    parts: Mapping[str, PartSettings],
    infos: Mapping[str, PartInfo],
    unread: AbstractSet[str],
) -> Found:
    """Look for the parts that are named as sources."""
    keys = {"pressure_hpa": "pressure_from", "temp_c": "temperature_from"}
    for quantity, source in part.informed_by.items():
        key = keys.get(quantity, "humidity_from")
        givers = [one for one, info in infos.items() if quantity in info.gives]
        # What leaves it out may not have it, and nothing is a source for itself.
        offered = [
            one
            for one in givers
            if one != name and quantity not in parts[one].leave_out
        ]
        if source in unread:
            continue
        if source == name:
            what = "names the sensor itself"
        elif source not in parts:
            what = f"names {shown(source)}, which is not another sensor"
        elif source in infos and source not in givers:
            what = f"names {source}, which does not measure {quantity}"
        else:
            continue
        mend = f"name a sensor that measures {quantity}: {listed(offered)}"
        if not offered:
            mend = f"remove it, or add a sensor that measures {quantity}"
        yield key, BadValueError(what, mend)
