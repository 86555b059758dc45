"""Which series the parts of a config give: what the rules will really see.

A quantity at a place is a channel; where two parts feed one, each has a series of its
own.  What a part is said to leave out is in none of them.
"""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers.kit.quantity import QUANTITIES, channel_of, split_channel
from cabinvigil.drivers.kit.steps import Gives, PartInfo

AIR_PARTS = frozenset({"o2_pct", "co_ppm", "co2_ppm", "gas_lel_pct", "pm2_5_ugm3"})
"""A part that gives one of these warms itself: its own temperature and humidity serve
only where no part made for them sits at the same place (sensors.md, 1)."""
MOVES_ABOVE = {"co_ppm": 3.0}
"""Away from zero a burner's carbon monoxide is never still (our choice: above the zero
of any part)."""
TRUE_TOPS = frozenset({"rh_pct", "contact"})
"""Quantities that end where a part's range ends: there its value is no lower bound."""


def channel_quantity(channel: str) -> str:
    """Return the quantity of a channel.

    Raises:
        ValueError: it is no channel.
    """
    found = split_channel(channel)
    if found is None:
        raise ValueError(f"{channel!r} is not a channel")
    return found[0].name


def series_keys(
    parts: Mapping[str, PartSettings], infos: Mapping[str, PartInfo]
) -> dict[tuple[str, str], str]:
    """Spell the series of every part: the channel alone, or with the part behind it."""
    feeding: dict[str, list[str]] = {}
    for name, part in parts.items():
        for quantity in infos[name].gives:
            left_out = infos[name].leaves_out(part.options)
            if quantity in part.leave_out or quantity in left_out:
                continue
            place = part.means or part.place
            feeding.setdefault(channel_of(quantity, place), []).append(name)
    keys: dict[tuple[str, str], str] = {}
    for channel, names in feeding.items():
        quantity = channel_quantity(channel)
        made_for_it = [name for name in names if not AIR_PARTS & set(infos[name].gives)]
        if quantity in ("temp_c", "rh_pct") and made_for_it:
            names = made_for_it
        for name in names:
            key = channel if len(names) == 1 else f"{channel}__{name}"
            keys[name, quantity] = key
    return keys


def part_series(
    parts: Mapping[str, PartSettings],
    infos: Mapping[str, PartInfo],
    mean_s: Mapping[str, float] | None = None,
) -> dict[str, SeriesSpec]:
    """Describe the series of every part, by key.

    Args:
        parts: by their config names.
        infos: the registry's entry of each.
        mean_s: the longest mean that is taken of each quantity; None: not known.
    """
    keys = series_keys(parts, infos)
    return {
        key: replace(
            _series(
                name,
                parts[name],
                infos[name],
                quantity,
                key,
                (mean_s or {}).get(quantity),
            ),
            warmth=_warmth(parts[name], keys),
        )
        for (name, quantity), key in keys.items()
    }


def _warmth(part: PartSettings, keys: Mapping[tuple[str, str], str]) -> str:
    """Return the series that shows how warm a part is: its own source, or its place's.

    '' where none does.
    """
    named = keys.get((part.informed_by.get("temp_c", ""), "temp_c"))
    if named is not None:
        return named
    here = channel_of("temp_c", part.place)
    return next((key for key in keys.values() if key.split("__")[0] == here), "")


def _series(
    name: str,
    part: PartSettings,
    info: PartInfo,
    quantity: str,
    key: str,
    mean_s: float | None,
) -> SeriesSpec:
    known: Gives = info.gives[quantity]
    word = QUANTITIES[quantity]
    return SeriesSpec(
        key=key,
        part=name,
        title=name,
        low=word.low,
        high=word.high,
        max_age_s=part.max_age_s or info.max_age_s,
        stuck_s=known.stuck_s,
        jump_per_s=known.jump_per_s,
        noise=known.noise,
        # Values are rounded before they are judged: that may be the coarser step.
        resolution=max(known.resolution, 10.0**-word.decimals),
        lag_s=known.lag_s,
        warm_up_s=info.warm_up_s,
        mean_s=mean_s or 0.0,
        interval_s=part.interval_s or info.interval_s,
        top=known.top,
        off_per_k_min=known.off_per_k_min,
        accuracy=known.accuracy,
        settles=known.settles,
        made_up_s=known.made_up_s,
        is_at_least_at_top=quantity not in TRUE_TOPS,
        moves_above=MOVES_ABOVE.get(quantity, float("inf")),
    )
