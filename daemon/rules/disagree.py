"""Two parts at one place that should say the same and do not."""

import attrs

from cabinvigil.daemon.air.atmosphere import SEA_LEVEL_HPA
from cabinvigil.daemon.air.moisture import rh_pct, vapour_hpa
from cabinvigil.daemon.core.breathed import air_hpa
from cabinvigil.daemon.core.history import History, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.warmth import off_by
from cabinvigil.drivers.kit.quantity import split_channel

PER = "channel"

ALLOWED = {
    # quantity: (fixed part in its unit, share of the reading).  The least that two are
    # allowed, where makers' figures are not known (sensors.md: 1 CO2 +-(50 ppm + 5 %)
    # twice; 12 CO modules 'unverified' +-10 ppm or 15 %; 9 and 2 0.5 C; the others own
    # choice).  What the two at hand are specified to, added, counts where it is more.
    "o2_pct": (0.8, 0.0),
    "co_ppm": (15.0, 0.3),
    "co2_ppm": (150.0, 0.15),
    "temp_c": (2.0, 0.0),
    "rh_pct": (8.0, 0.0),
    "pressure_hpa": (4.0, 0.0),
    "supply_v": (0.3, 0.0),
}


@attrs.frozen
class Params:
    """Which channel is judged; its parts are all that feed it."""

    subject: str = ""
    factor: float = attrs.field(
        default=1.0, validator=Between(0.1, 100.0, laxer="higher")
    )
    """Multiplies what two good parts may differ by."""


Fresh = list[tuple[float, str]]
"""Values with their series."""


def _at_one_temperature(history: History, fresh: Fresh) -> Fresh:
    """Return humidities as they would read at the first one's temperature.

    A part that sits a little warmer reads drier in the same air, by about 6 % of its
    reading a kelvin; the vapour is what must agree.  Where a temperature is missing
    the readings stand as they are.
    """
    own_c = {}
    for other, spec in history.layout.series.items():
        if other.startswith("temp_c"):
            series = history.fresh(other)
            if series is not None and not series.doubtful:
                own_c[spec.part, _place(other)] = series.value
    temps = [
        own_c.get((history.layout.series[key].part, _place(key))) for _, key in fresh
    ]
    first_c = temps[0]
    if first_c is None or None in temps:
        return fresh
    return [
        (rh_pct(first_c, vapour_hpa(temp_c or 0.0, value)), key)
        for temp_c, (value, key) in zip(temps, fresh, strict=True)
    ]


def _place(key: str) -> str:
    found = split_channel(key)
    return "" if found is None else found[1]


def _classes(history: History, quantity: str, low_key: str, high_key: str) -> float:
    """Return how far two parts' makers let them lie apart, in the quantity's unit.

    Oxygen's is stated of its partial pressure, at the sea: higher up the same pressure
    is more of the air.
    """
    series = history.layout.series
    both = series[low_key].accuracy + series[high_key].accuracy
    at_hpa = air_hpa(history) if quantity == "o2_pct" else None
    return both if at_hpa is None else both * max(1.0, SEA_LEVEL_HPA / at_hpa)


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge the spread of the fresh parts of one channel.

    Returns:
        None where fewer than two of them are fresh: one alone contradicts nobody.
    """
    del now
    parts = split_channel(params.subject)
    if parts is None or parts[0].name not in ALLOWED:
        return None
    fresh = [
        (series.value, key)
        for key in history.layout.index(parts[0].name, parts[1])
        if (series := history.fresh(key)) is not None
        and not series.doubtful
        and not series.at_least  # a lower bound contradicts no higher value
    ]
    if len(fresh) < 2:
        return None
    if parts[0].name == "rh_pct":
        fresh = _at_one_temperature(history, fresh)
    (low, low_key), (high, high_key) = min(fresh), max(fresh)
    fixed, share = ALLOWED[parts[0].name]
    fixed = max(fixed, _classes(history, parts[0].name, low_key, high_key))
    allowed = params.factor * (fixed + share * abs(low))
    allowed += off_by(history, low_key) + off_by(history, high_key)
    spread = high - low
    return Verdict(
        Priority.FAULT if spread > allowed else None,
        Priority.FAULT if spread > 0.7 * allowed else None,
        facts={
            "part": place_of(history, low_key),
            "other": place_of(history, high_key),
            "apart": spread,
            "unit": parts[0].unit,
            "text": parts[0].words,
        },
        evidence={
            "low": [low_key, low],
            "high": [high_key, high],
            "allowed": allowed,
        },
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    del params
    return Priority.FAULT
