"""What the trend tells in nights of every kind, kept to the sixth figure.

`python -m tests.tools.told_nights` draws it anew into `tests/data/figures/told.json`;
`tests/trend/test_estimate.py` holds the filter to it.  Whether what it tells is *right*
is asked elsewhere (algebra, drawing at random, the benchmark, measured rooms); here,
that it tells the same as when that was last asked.  A filter has a hundred places where
a sign can slip and the answers stay plausible.
"""

import json
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cabinvigil.daemon.trend import zone_filter
from cabinvigil.daemon.trend.model import CrossingQuery, Observation, TrendSetup

DRAWN = Path(__file__).parents[1] / "data" / "figures" / "told.json"
EVERY_S = 360.0
ASKS = (
    CrossingQuery("o2_pct", 19.5, "below", 1200.0),
    CrossingQuery("o2_pct", 20.3, "below", 300.0),
    CrossingQuery("o2_pct", 20.0, "below", 1200.0),
    CrossingQuery("co2_ppm", 6000.0, "above", 1200.0),
    CrossingQuery("co2_ppm", 3000.0, "above", 300.0),
)
KNOWN = TrendSetup(11.0, 0.02, 0.002, 15.0, 10.0, 1.0, 60.0, 430.0, asks=ASKS)
"""The parts of the example cabin."""
UNKNOWN = TrendSetup(asks=ASKS)


@dataclass(frozen=True)
class Told:
    """One night: what is known of the parts, what they give, and what happens."""

    setup: TrendSetup = KNOWN
    sees: tuple[str, ...] = ("o2_pct", "co2_ppm", "temp_c", "rh_pct", "pressure_hpa")
    every_s: float = 10.0
    noise: float = 1.0
    people: int = 2
    wild: float = 0.0
    """Share of readings that are torn."""
    missing: float = 0.0
    leak_pct_per_h: float = 0.0
    """O2 pushed out by a gas that nobody measures."""
    lit: tuple[tuple[float, float, float], ...] = ((300.0, 1.6, 0.5),)
    """From when on, so many kW and air changes an hour."""


NIGHTS = {
    "shut": Told(),
    "vented": Told(lit=((300.0, 1.6, 6.0), (1800.0, 0.8, 6.0))),
    "opened": Told(lit=((300.0, 1.6, 0.5), (1500.0, 1.6, 12.0), (2400.0, 0.0, 12.0))),
    "unknown-parts": Told(UNKNOWN, every_s=7.0),
    "unknown-steps": Told(
        TrendSetup(11.0, o2_step_pct=0.1, co2_step_ppm=20.0, asks=ASKS), noise=2.0
    ),
    "still-parts": Told(UNKNOWN, noise=0.05),
    "o2-alone": Told(sees=("o2_pct",)),
    "o2-and-vapour": Told(UNKNOWN, sees=("o2_pct", "temp_c", "rh_pct"), every_s=4.0),
    "co2-alone": Told(sees=("co2_ppm", "temp_c")),
    "two-gases-alone": Told(sees=("o2_pct", "co2_ppm"), every_s=30.0),
    "torn": Told(wild=0.03, missing=0.2),
    "leak": Told(leak_pct_per_h=1.5, lit=((300.0, 0.4, 1.0),)),
    "crowded": Told(people=4, lit=((300.0, 0.0, 0.4), (2000.0, 0.0, 3.0))),
}


def readings(night: Told, seed: str) -> Iterator[tuple[float, Observation]]:
    """Read fifty minutes of plain air of our own: the product's is another matter."""
    rng = random.Random(seed)
    excess_ppm, temp_c, now_s = 0.0, 12.0, 0.0
    o2_seen, co2_seen = 20.8, 430.0
    while now_s <= 3000.0:
        kw, per_h = 0.0, 0.5
        for since_s, then_kw, then_per_h in night.lit:
            if now_s >= since_s:
                kw, per_h = then_kw, then_per_h
        # 1.6 kW gives 4.7 ppm/s in 11 m3 (2219 kJ for 3 mol), a sleeper 0.3.
        made_ppm = (4.7 / 1.6 * kw + 0.3 * night.people) * night.every_s
        excess_ppm += made_ppm - excess_ppm * per_h / 3600.0 * night.every_s
        temp_c += ((25.0 if kw else 8.0) - temp_c) * night.every_s / 1800.0
        vapour = 0.003 + 1.2e-6 * excess_ppm
        leaked = night.leak_pct_per_h * max(0.0, now_s - 600.0) / 3600.0
        o2 = (20.95 - 1.66e-4 * excess_ppm) * (1.0 - vapour) - leaked
        o2_seen += (o2 - o2_seen) * min(1.0, night.every_s / 15.0)
        co2_seen += (430.0 + excess_ppm - co2_seen) * min(1.0, night.every_s / 60.0)
        full_hpa = 6.112 * math.exp(17.62 * temp_c / (243.12 + temp_c))  # Magnus
        given = {
            "o2_pct": round(o2_seen + rng.gauss(0.0, 0.015 * night.noise), 3),
            "co2_ppm": round(co2_seen + rng.gauss(0.0, 8.0 * night.noise)),
            "temp_c": round(temp_c + rng.gauss(0.0, 0.05), 2),
            "rh_pct": round(100.0 * vapour * 940.0 / full_hpa + rng.gauss(0.0, 0.2), 1),
            "pressure_hpa": round(940.0 + rng.gauss(0.0, 0.1), 2),
        }
        for key in list(given):
            if rng.random() < night.wild:
                given[key] *= rng.choice((0.5, 1.6))
            if key not in night.sees or rng.random() < night.missing:
                del given[key]
        yield now_s, Observation(**given)
        now_s += night.every_s


def told(name: str) -> list[dict[str, Any]]:
    """Return what the filter tells of a night, every six minutes."""
    night = NIGHTS[name]
    state, found, next_s = zone_filter.start(night.setup), [], EVERY_S
    for now_s, seen in readings(night, name):
        state = zone_filter.update(night.setup, state, now_s, seen)
        if now_s >= next_s:
            next_s += EVERY_S
            found.append({"now_s": now_s, **_spelt(night.setup, state, now_s)})
    return found


def _spelt(setup: TrendSetup, state: Any, now_s: float) -> dict[str, Any]:
    one = zone_filter.estimate(setup, state, now_s)
    if one is None:
        return {}
    return {
        "probabilities": [crossing.probability for crossing in one.crossings],
        "o2_pct": one.o2_pct,
        "o2_rate_pct_per_h": one.o2_rate_pct_per_h,
        "o2_settles_pct": one.o2_settles_pct,
        "o2_minutes": one.o2_minutes,
        "co2_ppm": one.co2_ppm,
        "co2_rate_ppm_per_h": one.co2_rate_ppm_per_h,
        "co2_minutes": one.co2_minutes,
        "air_changes_per_h": one.air_changes_per_h,
        "burn_kw": one.burn_kw,
        "source_ppm_per_h": one.source_ppm_per_h,
        "o2_per_co2": one.o2_per_co2,
        "sensors": one.sensors,
        "unexplained": [one.unexplained_o2_pct, one.unexplained_z],
        "gases_disagree_z": one.gases_disagree_z,
        "o2_fallen_pct": one.o2_fallen_pct,
        "watched_s": one.watched_s,
    }


def rounded(value: Any) -> Any:
    """Keep seven figures: more would hold a machine's own rounding."""
    if isinstance(value, float):
        return float(f"{value:.7g}")
    if isinstance(value, list | tuple):
        return [rounded(one) for one in value]
    if isinstance(value, dict):
        return {key: rounded(one) for key, one in value.items()}
    return value


def main() -> None:
    """Draw all nights anew."""
    rows = [f"{json.dumps(name)}: {json.dumps(rounded(told(name)))}" for name in NIGHTS]
    DRAWN.write_text("{\n" + ",\n".join(rows) + "\n}\n", encoding="utf-8")


if __name__ == "__main__":
    main()
