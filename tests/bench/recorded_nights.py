"""Nights read from recorded rooms, with the noise of parts' data sheets laid over.

What a room's air really did - people who come and go, valves that open, doors, burners,
a fire, a sealed vessel - is taken as it was recorded, smoothed of its own instrument's
noise, and scaled in two ways, for offices breathe 1 000 ppm in a day and a heater makes
10 000 in an hour: the course of the excess over fresh air is multiplied until oxygen
comes down as far as the night is drawn to, and time is pressed together, or drawn out,
as the table says.  Where a room's oxygen was recorded it is scaled as it was; where CO2
alone was, each ppm takes as much oxygen as a flame of propane and its vapour do.

The observer knows what the others' observer knows: the ventilation, as stated beside a
record or by decays in it, and so the present source from how the true air moves.  Where
nobody knows the ventilation he takes it for none, and rings the sooner.

Data and licences: the README beside each file in `tests/data`.
"""

import bisect
import csv
import functools
import gzip
import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from tests.bench.nights import DT_S, HOURS, LIMIT_PCT, Night

DATA = Path(__file__).parents[1] / "data"
FRESH_O2_PCT = (20.62, 20.82)
"""Dry 20.95 %, less 0.6 to 1.6 % vapour."""
FLAME_RATIO = (1.5e-4, 1.9e-4)
"""O2 (%) that goes for each ppm of CO2: propane's is 1.53 dry, 1.85 with its vapour."""
DEEPEST_PCT = (0.3, 2.3)
"""How far oxygen comes down in a night."""
RISEN = 0.25
"""A night begins before this share of its deepest fall: somebody switches the watch on
in fresh air, or nearly so."""
MOST_OF_CO2, MOST_OF_O2 = 30.0, 4.0
"""Nothing is scaled further up: in a room that the burner's gas never reached, it would
be the analyser's drift that is taken for air."""
NOW_S = 60.0
"""How the air moves now: from so long before to so long after."""
OFFICE_PER_S = 240.0 / 75.0 / 3600.0
"""240 m3/h at the valve's full opening, in rooms of 75 m3, as their authors state."""
DWELLING_PER_S = 0.53 / 3600.0
"""Middle of the four decays that the authors' own code gives, 0.42 to 0.70 an hour."""
Series = list[tuple[float, float]]


@dataclass(frozen=True)
class Course:
    """One recorded room, smoothed: excess of CO2, and O2 that went, over time."""

    time_s: tuple[float, ...]
    excess_ppm: tuple[float, ...]
    gone_pct: tuple[float, ...] | None
    """None where nobody recorded oxygen."""
    vented_per_s: tuple[float, ...] | None = None
    """None where nobody knows it."""


@dataclass(frozen=True)
class Kind:
    """How a kind of room is read."""

    courses: tuple[Course, ...]
    faster: tuple[float, float]
    """So many seconds of the record pass in one of the night."""
    weight: float


@dataclass(frozen=True)
class Part:
    """How a CO2 part reads, by its kind's data sheets (`tests/data/sensors`)."""

    noise_ppm: tuple[float, float]
    """Repeatability: 10 ppm on the sheets of photoacoustic and NDIR modules."""
    noise_share: tuple[float, float]
    """What grows with the reading: up to a tenth of the sheets' 3 to 5 % of accuracy
    (own choice; two makers' users report 0.2 to 0.5 % from memory)."""
    lag_s: tuple[float, float]
    """Time to 63 %, from a t90 of 45 s, 120 s and 140 s; a tight housing adds."""
    gain_sd: float
    """Of the accuracy's share of the reading, 3 to 5 %, two standard deviations."""


CO2_PARTS = (
    Part((6.0, 12.0), (0.001, 0.004), (50.0, 75.0), 0.025),  # photoacoustic
    Part((6.0, 12.0), (0.001, 0.004), (18.0, 40.0), 0.015),  # NDIR, two channels
    Part((8.0, 18.0), (0.002, 0.005), (30.0, 60.0), 0.025),  # NDIR, nine-byte frame
)
O2_LAGS_S = ((5.0, 9.0), (10.0, 20.0))
"""Galvanic cells: t90 in 10 to 15 s; optical ones: below 30 s."""
O2_NOISE_PCT = (0.006, 0.04)
"""From an averaged cell at a 16-bit converter to an optical one."""


def _rows(name: str) -> Iterator[dict[str, str]]:
    path = DATA / name
    opened = gzip.open if path.suffix == ".gz" else open
    with opened(path, "rt", newline="") as file:
        yield from csv.DictReader(file)


def _even(series: Series, step_s: float) -> tuple[list[float], list[float]]:
    """Give medians of even steps; a step without a reading takes its neighbour's."""
    found: dict[int, list[float]] = {}
    for t, value in series:
        found.setdefault(int(t // step_s), []).append(value)
    first, last = min(found), max(found)
    values: list[float] = []
    for i in range(first, last + 1):
        here = sorted(found.get(i, ()))
        values.append(here[len(here) // 2] if here else values[-1])
    return [i * step_s for i in range(first, last + 1)], values


def _smooth(values: list[float], width: int) -> list[float]:
    """Average twice over a centred window: the instrument's noise goes."""
    for _ in range(2):
        sums = [0.0]
        for value in values:
            sums.append(sums[-1] + value)
        half, count = width // 2, len(values)
        values = [
            (sums[min(count, i + half + 1)] - sums[max(0, i - half)])
            / (min(count, i + half + 1) - max(0, i - half))
            for i in range(count)
        ]
    return values


def _course(co2: Series, o2: Series | None, step_s: float, width: int) -> Course:
    times, ppm = _even(co2, step_s)
    ppm = _smooth(ppm, width)
    low = min(ppm)
    gone = None
    if o2 is not None:
        pct = _smooth(_even(o2, step_s)[1], width)
        count = min(len(pct), len(times))
        times, ppm, high = times[:count], ppm[:count], max(pct[:count])
        gone = tuple(high - value for value in pct[:count])
    return Course(tuple(times), tuple(value - low for value in ppm), gone)


def _offices() -> Iterator[Course]:
    """Two offices with a valve, weekdays with people in them."""
    days: dict[str, tuple[Series, Series]] = {}
    for row in _rows("b4b_office_co2/days_2min.csv.gz"):
        at, (co2, valve) = float(row["time_s"]), days.setdefault(row["day"], ([], []))
        co2.append((at, float(row["co2_ppm"])))
        valve.append((at, float(row["valve"])))
    for co2, valve in days.values():
        vented = tuple(OFFICE_PER_S * share for share in _even(valve, 120.0)[1])
        yield replace(_course(co2, None, 120.0, 5), vented_per_s=vented)


def _dwelling() -> Iterator[Course]:
    """Rooms of a dwelling, one day."""
    rows = list(_rows("few_dwelling_co2/rooms_5min.csv"))
    for room in "acdebg":
        series = [(float(r["time_s"]), float(r[f"co2_{room}_ppm"])) for r in rows]
        course = _course(series, None, 300.0, 3)
        yield replace(course, vented_per_s=(DWELLING_PER_S,) * len(course.time_s))


def _burner() -> Iterator[Course]:
    """Rooms of a house in which a propane burner runs: O2 and CO2 both recorded."""
    for run in ("exp15", "exp16", "exp17", "exp18", "exp20"):
        rows = list(_rows(f"fsri_gasburner_house/{run}.csv.gz"))
        for room in ("bedroom2", "bedroom3", "livingroom"):
            co2: Series = []
            o2: Series = []
            for row in rows:
                ppm, pct = row.get(f"{room}_co2_pct"), row.get(f"{room}_o2_pct")
                # What no cell can read is left out (exp17: samples of -6 %).
                if ppm and pct and 10.0 <= float(pct) <= 22.0:
                    co2.append((float(row["time_s"]), float(ppm) * 1e4))
                    o2.append((float(row["time_s"]), float(pct)))
            if co2:
                yield _course(co2, o2, 5.0, 5)


def _fire() -> Iterator[Course]:
    """Three places in a room with a small fire."""
    rows = list(_rows("nist_fire_gas/fse2008_ISONylon10.csv"))
    for place in ("front", "rear", "move"):
        co2 = [(float(r["time_s"]), float(r[f"{place}_co2_ppm"])) for r in rows]
        o2 = [(float(r["time_s"]), float(r[f"{place}_o2_pct"])) for r in rows]
        yield _course(co2, o2, 5.0, 9)


def _vessel() -> Iterator[Course]:
    """A sealed vessel in which oxygen is breathed; CO2 as breathing gives it."""
    rows = _rows("respr_o2/sardine.csv.gz")
    o2 = [(float(r["time_s"]), float(r["o2_pct_air_sat"]) * 0.2095) for r in rows]
    co2 = [(t, (20.95 - pct) / 1.7e-4) for t, pct in o2]
    yield _course(co2, o2, 10.0, 31)


@functools.cache
def kinds() -> tuple[Kind, ...]:
    """Read all rooms, once."""
    return (
        Kind(tuple(_offices()), (1.0, 3.5), 0.4),
        Kind(tuple(_dwelling()), (1.0, 4.0), 0.2),
        Kind(tuple(_burner()), (0.04, 0.15), 0.25),
        Kind(tuple(_fire()), (0.08, 0.25), 0.05),
        Kind(tuple(_vessel()), (0.5, 2.0), 0.1),
    )


def _log_uniform(rng: random.Random, between: tuple[float, float]) -> float:
    return math.exp(rng.uniform(*(math.log(end) for end in between)))


@dataclass(frozen=True)
class Stretch:
    """A stretch of a record, as it is lived."""

    course: Course
    from_s: float
    faster: float
    lasts_s: float
    share: float
    """Of the recorded excess; oxygen that was recorded is scaled alike."""
    ratio: float

    def at(self, t: float) -> tuple[float, float]:
        """Give excess (ppm) and O2 gone (%) at a moment of the night."""
        course = self.course
        i, part = self._place(t)
        a, b = course.excess_ppm[i], course.excess_ppm[i + 1]
        excess = self.share * (a + part * (b - a))
        if course.gone_pct is None:
            return excess, self.ratio * excess
        a, b = course.gone_pct[i], course.gone_pct[i + 1]
        return excess, self.share * (a + part * (b - a))

    def _place(self, t: float) -> tuple[int, float]:
        times, at_s = self.course.time_s, self.from_s + t * self.faster
        i = bisect.bisect_right(times, at_s) - 1
        i = min(max(i, 0), len(times) - 2)
        return i, min(1.0, max(0.0, (at_s - times[i]) / (times[i + 1] - times[i])))

    def known_s(self, t: float, room_pct: float) -> float | None:
        """Give the time until so much O2 is gone, by the observer; None: never."""
        before, now, after = (self.at(t + n * NOW_S)[1] for n in (-1, 0, 1))
        if now >= room_pct:
            return 0.0
        per_s = (after - before) / (2.0 * NOW_S)
        if per_s <= 0.0:
            return None
        vented = self.course.vented_per_s
        k = 0.0 if vented is None else vented[self._place(t)[0]] * self.faster
        if k <= 0.0:
            return (room_pct - now) / per_s
        to_come = per_s / k
        left = 1.0 - (room_pct - now) / to_come
        return -math.log(left) / k if left > 0.0 else None


def draw_stretch(rng: random.Random) -> Stretch:
    """Draw a room, a stretch of its record, and how it is scaled."""
    drawn = rng.choices(kinds(), [kind.weight for kind in kinds()])[0]
    course = rng.choice(drawn.courses)
    faster = _log_uniform(rng, drawn.faster)
    begin, end = course.time_s[0], course.time_s[-1]
    ratio = rng.uniform(*FLAME_RATIO)
    stretch = Stretch(course, begin, faster, HOURS * 3600.0, 1.0, ratio)
    for _ in range(20):
        last = max(begin, end - HOURS * 3600.0 * faster)
        from_s = rng.uniform(begin, last)
        lasts_s = min(HOURS * 3600.0, (end - from_s) / faster)
        stretch = Stretch(course, from_s, faster, lasts_s, 1.0, ratio)
        gone = [stretch.at(60.0 * i)[1] for i in range(int(lasts_s / 60.0))]
        if gone[0] < RISEN * max(gone):
            break
    else:
        return draw_stretch(rng)
    share = rng.uniform(*DEEPEST_PCT) / max(gone)
    if share > (MOST_OF_CO2 if course.gone_pct is None else MOST_OF_O2):
        return draw_stretch(rng)
    return Stretch(course, from_s, faster, lasts_s, share, ratio)


def make_recorded_night(seed: int, kind: str = "plain", coarse: bool = False) -> Night:
    """Draw one night of recorded air; the same seed gives the same night.

    Args:
        seed: of what is drawn.
        kind: as the others': names another series of nights, and changes nothing else.
        coarse: O2 in steps of 0.1 %, CO2 in steps of 50 ppm.
    """
    rng = random.Random(f"recorded/{kind}/{seed}")
    stretch = draw_stretch(rng)
    part = rng.choice(CO2_PARTS)
    noise_ppm, noise_share = (
        rng.uniform(*part.noise_ppm),
        rng.uniform(*part.noise_share),
    )
    co2_lag_s, gain = rng.uniform(*part.lag_s), rng.gauss(1.0, part.gain_sd)
    o2_lag_s = rng.uniform(*rng.choice(O2_LAGS_S))
    o2_noise_pct = _log_uniform(rng, O2_NOISE_PCT)
    fresh_pct, floor_ppm = rng.uniform(*FRESH_O2_PCT), rng.uniform(410.0, 460.0)
    o2_off_pct, drift_pct_h = rng.gauss(0.0, 0.02), rng.gauss(0.0, 0.005)
    o2_step, co2_step = (0.1, 50.0) if coarse else (0.01, 1.0)
    night = Night(seed, kind, floor_ppm=floor_ppm)
    excess, gone = stretch.at(0.0)
    o2_lagged, ppm_lagged = fresh_pct - gone, excess
    f_o2, f_co2 = math.exp(-DT_S / o2_lag_s), math.exp(-DT_S / co2_lag_s)
    for i in range(int(stretch.lasts_s / DT_S)):
        t = i * DT_S
        excess, gone = stretch.at(t)
        o2_pct = fresh_pct - gone
        o2_lagged += (1.0 - f_o2) * (o2_pct - o2_lagged)
        ppm_lagged += (1.0 - f_co2) * (excess - ppm_lagged)
        night.time_s.append(t)
        night.o2_pct.append(o2_pct)
        night.co2_ppm.append(floor_ppm + excess)
        night.k_per_s.append(0.0)
        night.burn_kw.append(0.0)
        night.settles_pct.append(0.0)
        night.known_s.append(stretch.known_s(t, fresh_pct - LIMIT_PCT))
        seen = floor_ppm + gain * ppm_lagged
        seen += rng.gauss(0.0, math.hypot(noise_ppm, noise_share * seen))
        night.co2_seen.append(round(seen / co2_step) * co2_step)
        o2 = o2_lagged + o2_off_pct + drift_pct_h * t / 3600.0
        o2 += rng.gauss(0.0, o2_noise_pct)
        night.o2_seen.append(round(o2 / o2_step) * o2_step)
    return night
