"""What the keys of parts and of the monitor take away from the guards.

Judged by what the rules will really see: the series that the config gives are laid
beside those that the same parts give as they come, at the bunk, leaving nothing out.
What is less strict is refused, or accepted and said aloud, as with less strict limits.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from cabinvigil.daemon.core.layout import Layout
from cabinvigil.daemon.settings.errors import (
    BadValueError,
    Mistake,
    listed,
    nearest,
    shown,
)
from cabinvigil.daemon.settings.series import part_series
from cabinvigil.daemon.settings.values import PartSettings, Watch, changed
from cabinvigil.drivers.kit.quantity import (
    BUNK_WORDS,
    OUTSIDE_PLACES,
    QUANTITIES,
    VITAL,
)
from cabinvigil.drivers.kit.steps import PartInfo

OTHER_PLACES = (
    *("ceiling", "floor", "upper", "lower", "second", "front", "rear", "fore", "aft"),
    *("left", "right", "loft", "saloon", "galley", "door", "heater", "bilge"),
)
"""Second places where people breathe, or from which what is there comes to them."""
PLACES = (*BUNK_WORDS[:1], *sorted(OUTSIDE_PLACES), *OTHER_PLACES)
MEANT: Mapping[str, str] = MappingProxyType(
    {
        **dict.fromkeys(("window", "windscreen", "pane", "porthole"), "glass"),
        **dict.fromkeys(("outdoors", "outdoor", "garden"), "outside"),
        **dict.fromkeys(("pillow", "head"), "bunk"),
        **dict.fromkeys(("roof", "top"), "ceiling"),
    }
)
"""What people write, and the place that it is."""
FORECAST = ("o2_pct", "co2_ppm")
"""What the trend follows, at the bunk alone."""
SLOWEST_TICK_S = 10.0
"""The slowest tick by which a lost part wakes people in the time that is promised."""

Parts = Mapping[str, PartSettings]
Infos = Mapping[str, PartInfo]


@dataclass(frozen=True, slots=True)
class Loosened:
    """One key that takes something away from the guards."""

    table: str
    """`part.<name>`, or `watch`."""
    key: str
    text: str
    """What it takes away."""
    mend: str
    """What gives it back, as an imperative clause."""
    is_accepted: bool
    """`accept_laxer = true` stands beside it."""


def usual_place(place: str) -> str:
    """Return a part's place as channels have it: a word for the bunk is the bunk.

    Raises:
        BadValueError: no such place is known.
    """
    if not place or place in BUNK_WORDS:
        return ""
    if place in PLACES:
        return place
    close = MEANT.get(place) or nearest(place, (*PLACES, *BUNK_WORDS))
    hint = f"write `{close}` if that was meant; " if close else ""
    raise BadValueError(
        f"is {shown(place)}, which is not a known place",
        f"{hint}known: {listed(PLACES)}",
    )


def placed(parts: Parts, file: str, mistakes: list[Mistake]) -> dict[str, PartSettings]:
    """Put every part at a place that is known; what is at none is a mistake."""
    found = dict(parts)
    for name, part in parts.items():
        try:
            found[name] = changed(part, place=usual_place(part.place))
        except BadValueError as error:
            key = f"part.{name}.place"
            mistakes.append(Mistake(file, key, error.what, error.mend))
            found[name] = changed(part, place="")  # judged as if it were where most are
    return found


def weigh_guards(
    parts: Parts, infos: Infos, watch: Watch, file: str, mistakes: list[Mistake]
) -> tuple[str, ...]:
    """Refuse what takes guards away, but for what was accepted; return that."""
    accepted = []
    for one in loosened(parts, infos, watch):
        if one.is_accepted:
            accepted.append(f"{one.table.removeprefix('part.')}: {one.text}")
            continue
        what = f"protects less than it should: {one.text}"
        mend = f"{one.mend}, or set `accept_laxer = true` beside it"
        mistakes.append(Mistake(file, f"{one.table}.{one.key}", what, mend))
    return tuple(accepted)


def loosened(parts: Parts, infos: Infos, watch: Watch) -> Iterator[Loosened]:
    """Find what the keys of parts and of the monitor take away.

    Args:
        parts: with their own figures filled in.
        infos: the registry's entry of each.
        watch: how the daemon runs.
    """
    own = Layout(part_series(parts, infos))
    usual = Layout(part_series({n: _as_it_comes(p) for n, p in parts.items()}, infos))
    for name, part in parts.items():
        yield from _unseen(name, part, infos[name], own, usual)
        yield from _old(name, part, infos[name])
    if watch.tick_s > SLOWEST_TICK_S:
        yield Loosened(
            "watch",
            "tick_s",
            f"its tick_s is {watch.tick_s:g}, usual at most {SLOWEST_TICK_S:g}: in "
            "between only what is past a limit is judged",
            f"give {SLOWEST_TICK_S:g} or less",
            watch.accept_laxer,
        )


def _as_it_comes(part: PartSettings) -> PartSettings:
    return changed(part, place="", leave_out=())


def _unseen(
    name: str, part: PartSettings, info: PartInfo, own: Layout, usual: Layout
) -> Iterator[Loosened]:
    """Find what a part would let the rules see, and does not."""
    for quantity in dict.fromkeys((*VITAL, *FORECAST)):
        words = QUANTITIES[quantity].words
        if quantity not in info.gives or not usual.index(quantity):
            continue
        key = "leave_out" if quantity in part.leave_out else "place"
        if quantity in VITAL and not own.index(quantity):
            text = f"nothing measures {words} where people breathe"
        elif quantity in FORECAST and not own.index(quantity, ""):
            text = f"the forecast gets no {words} from the bunk"
        elif quantity in VITAL and key == "leave_out":
            text = f"one sensor less measures {words}"
        else:
            continue
        value = quantity if key == "leave_out" else part.place
        mend = f"take {quantity} out of it" if key == "leave_out" else "remove it"
        yield Loosened(
            f"part.{name}",
            key,
            f"its {key} is {value}: {text}",
            mend,
            part.accept_laxer,
        )


def _old(name: str, part: PartSettings, info: PartInfo) -> Iterator[Loosened]:
    """Find how much older than the part's own its values may be."""
    for key, usual_s in (
        ("max_age_s", info.max_age_s),
        ("interval_s", info.interval_s),
    ):
        value_s = getattr(part, key)
        if value_s is not None and value_s > usual_s:
            yield Loosened(
                f"part.{name}",
                key,
                f"its {key} is {value_s:g}, the sensor's own {usual_s:g}{_late(key)}",
                f"give {usual_s:g} or less",
                part.accept_laxer,
            )


def _late(key: str) -> str:
    return ": its silence is reported later" if key == "max_age_s" else ""


def watched(parts: Parts, infos: Infos) -> Sequence[str]:
    """Return the quantities that are measured where people breathe."""
    layout = Layout(part_series(parts, infos))
    return [name for name in QUANTITIES if layout.index(name)]
