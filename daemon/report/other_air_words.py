"""Dust and vapours in words: what the night's figures can say, and what they cannot."""

from cabinvigil.daemon.report.rows import Clock
from cabinvigil.daemon.review.other_air import DUST, DustRise, IndexCourse, OtherAir
from cabinvigil.daemon.text.numbers import valued

INDEX_WORDS = {"voc_index": "VOC index", "nox_index": "NOx index"}
RELATIVE = "An index compares with its own last day: it is not a concentration"
"""What it can say, and what it cannot."""
QUIET_TIMES = 1.5
"""Up to so many times its usual, an index was as usual (our choice)."""


def dust_words(air: OtherAir, clock: Clock) -> str:
    """Write the night's dust; '' where none was measured."""
    dust = air.dust
    if dust is None:
        return ""
    most = valued(DUST, dust.most_ugm3)
    return f"{dust.mean_ugm3:.0f} on average, at most {most} at {clock(dust.most_s)}"


def dust_meaning(air: OtherAir, clock: Clock) -> str:
    """Return what its gravest rise may mean; '' where it never rose."""
    if air.dust is None or not air.dust.rises:
        return ""
    gravest = max(air.dust.rises, key=_gravity)
    told = f"rose from {clock(gravest.from_s)} to {clock(gravest.to_s)}"
    others = len(air.dust.rises) - 1
    more = f"; {others} more {'rise' if others == 1 else 'rises'}" if others else ""
    return f"{told}{_meaning(gravest)}{more}"


def _gravity(rise: DustRise) -> tuple[bool, float]:
    return rise.meaning == "with-co", rise.most_ugm3


def _meaning(rise: DustRise) -> str:
    if rise.meaning == "with-co" and rise.co_up_ppm is not None:
        up = valued("co_ppm", rise.co_up_ppm)
        return f", with CO up by {up}: a sooty flame makes both, so look at yours"
    if rise.meaning == "damp":
        return ", in air so damp that mist counts as dust"
    if rise.meaning == "co-unknown":
        return "; nothing measured CO, so it may be the flame or a pan"
    return ", without CO: a pan, a candle or stirred dust more likely than the flame"


def index_words(air: OtherAir, clock: Clock) -> str:
    """Write the night's indices; '' where none was given."""
    if not air.indices:
        return ""
    return "; ".join(_index(one, clock) for one in air.indices)


def _index(one: IndexCourse, clock: Clock) -> str:
    words = INDEX_WORDS[one.quantity]
    if one.most <= QUIET_TIMES * one.usual:
        return f"{words} as usual"
    most = f"{words} at most {one.most:.0f} at {clock(one.most_s)}"
    return f"{most}, where {one.usual:.0f} is usual"
