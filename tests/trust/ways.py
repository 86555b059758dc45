"""The ways in which a part can be wrong, as what it sees instead of the air.

All of it is invented; each size is one that a part of its kind may have (own choices,
from sensors.md and findings, section L).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow

See = Callable[[AirNow, float], AirNow]
"""What a part sees of the air, at a moment."""
AIR_O2 = 20.67
"""Fresh and damp, as the emulated evening has it."""


@dataclass(frozen=True)
class Way:
    """One way to be wrong."""

    name: str
    gas: str
    """`o2` or `co`: what the part at fault measures."""
    see: Callable[[], See]
    """Made anew for each play: some remember."""
    kind: str = ""
    """Of the part; '' is the setup's own."""
    part: str = ""
    """Which part sees wrong; '' is the one of the gas."""
    why: str = ""
    """Why it may stay beyond, where it does."""
    cabin: str = ""
    """Lines of [cabin] that are wrong instead."""
    since_evening: bool = True
    """False: it begins after the evening's test, in the night."""


def o2(change: Callable[[float], float]) -> Callable[[], See]:
    """See another oxygen."""
    return lambda: lambda air, _now: replace(air, o2_pct=max(0.0, change(air.o2_pct)))


def co(change: Callable[[float], float]) -> Callable[[], See]:
    """See another carbon monoxide."""
    return lambda: lambda air, _now: replace(air, co_ppm=max(0.0, change(air.co_ppm)))


def slow(tau_s: float, quantity: str) -> Callable[[], See]:
    """Follow with a lag."""

    def make() -> See:
        last: list[float] = []

        def see(air: AirNow, now_s: float) -> AirNow:
            true = getattr(air, quantity)
            if not last:
                last[:] = [true, now_s]
            share = 1.0 - math.exp(-max(0.0, now_s - last[1]) / tau_s)
            last[:] = [last[0] + share * (true - last[0]), now_s]
            return replace(air, **{quantity: last[0]})

        return see

    return make


def drifting(per_h: float, quantity: str) -> Callable[[], See]:
    """Drift from what is true, from the first look on."""

    def make() -> See:
        began: list[float] = []

        def see(air: AirNow, now_s: float) -> AirNow:
            if not began:
                began.append(now_s)
            off = per_h * (now_s - began[0]) / 3600.0
            return replace(air, **{quantity: max(0.0, getattr(air, quantity) + off)})

        return see

    return make


def other(**wrong: float) -> Callable[[], See]:
    """See fixed values of other quantities."""
    return lambda: lambda air, _now: replace(air, **wrong)


def shifted(**by: float) -> Callable[[], See]:
    """See other quantities shifted."""
    return lambda: (
        lambda air, _now: replace(
            air, **{key: getattr(air, key) + off for key, off in by.items()}
        )
    )


def half_outside(air: AirNow, _now: float) -> AirNow:
    """Hang in the draught of a vent."""
    return replace(
        air,
        o2_pct=0.5 * (air.o2_pct + AIR_O2),
        co_ppm=0.5 * air.co_ppm,
        co2_ppm=0.5 * (air.co2_ppm + 425.0),
    )


HUNG = "no test at the parts sees where they hang: hardware.md says where not to"

WAYS = (
    Way("nothing is wrong", "o2", o2(lambda v: v)),
    Way("signal 5 % too high", "o2", o2(lambda v: 1.05 * v)),
    Way("signal 10 % too low", "o2", o2(lambda v: 0.9 * v)),
    Way("reads 0.6 % too high", "o2", o2(lambda v: v + 0.6)),
    Way("spanned in used air of 18 %", "o2", o2(lambda v: v * 20.9 / 18.0)),
    Way("leaks: 20 % more signal", "o2", o2(lambda v: 1.2 * v)),
    Way("worn: capped at 75 %", "o2", o2(lambda v: min(v, 0.75 * 20.9))),
    Way(
        "worn: capped, and spanned so",
        *("o2", o2(lambda v: min(v, 0.75 * 20.9) / 0.75)),
    ),
    Way("blind at fresh air", "o2", o2(lambda _: AIR_O2)),
    Way("dead: no signal", "o2", o2(lambda _: 0.0)),
    Way("wet membrane, 15 min", "o2", slow(900.0, "o2_pct")),
    Way("iced membrane, 30 min", "o2", slow(1800.0, "o2_pct")),
    Way("slowed to three lags", "o2", slow(45.0, "o2_pct")),
    Way("drifts up 0.3 % an hour", "o2", drifting(0.3, "o2_pct")),
    Way("drifts down 0.3 % an hour", "o2", drifting(-0.3, "o2_pct")),
    Way("pressure part 40 hPa too low", "o2", shifted(pressure_hpa=-40.0), part="baro"),
    Way("pressure part 40 hPa too high", "o2", shifted(pressure_hpa=40.0), part="baro"),
    Way("altitude 0 typed at 640 m", "o2", other(), kind="frame9_o2", cabin="0.0"),
    Way("thermistor 10 C too low", "o2", shifted(temp_c=-10.0), part="baro"),
    Way("cell in the frost at -10 C", "o2", other(cell_c=-10.0)),
    Way(
        "hangs in a vent's draught",
        *("o2", lambda: half_outside),
        why=HUNG,
    ),
    Way(
        "blind from midnight on",
        *("o2", o2(lambda _: AIR_O2)),
        since_evening=False,
        why="it passed its test and failed after it; a second part sees it",
    ),
    Way("nothing is wrong", "co", co(lambda v: v)),
    Way("blind", "co", co(lambda _: 0.0)),
    Way("poisoned to a half", "co", co(lambda v: 0.5 * v)),
    Way("poisoned to a quarter", "co", co(lambda v: 0.25 * v)),
    Way("zero 30 ppm too low", "co", co(lambda v: v - 30.0)),
    Way("zero taken at 9 ppm", "co", co(lambda v: v - 9.0)),
    Way("saturates at 50 ppm", "co", co(lambda v: min(v, 50.0))),
    Way("a tenth: scale of the other family", "co", co(lambda v: 0.1 * v)),
    Way("tenfold: scale of the other family", "co", co(lambda v: 10.0 * v)),
    Way("slow filter, 15 min", "co", slow(900.0, "co_ppm")),
    Way("drifts down 10 ppm an hour", "co", drifting(-10.0, "co_ppm")),
    Way("in the frost at -15 C", "co", other(cell_c=-15.0)),
    Way("hangs in a vent's draught", "co", lambda: half_outside, why=HUNG),
)
