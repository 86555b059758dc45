"""A value that cannot be so, given what else is known of the same air.

Each check needs a fellow of another kind: oxygen against carbon dioxide, vapour and
pressure, pressure against the height above the sea, carbon dioxide against the air
outdoors, carbon monoxide against the cold and a charging battery; and one against
nothing, of which no air has less.  What is found is said of the part; the gas's own
alarms go on as if nothing were said.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace

import attrs

from cabinvigil.daemon.air.atmosphere import O2_DRY_PCT, pressure_hpa
from cabinvigil.daemon.air.figures import FRESH_CO2_PPM, LEAST_O2_PER_CO2
from cabinvigil.daemon.air.moisture import vapour_hpa
from cabinvigil.daemon.core.history import History, Series, place_of
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.core.vital import (
    gravest_loss,
    is_vital,
    loss_of,
    quantity_name,
)
from cabinvigil.daemon.core.warmth import off_by
from cabinvigil.drivers.kit.quantity import is_breathed, split_channel

PER = "series"

MOST_HYDROGEN_PPM = 30.0
"""From here nothing is called hydrogen: EN 50291-1 begins, and a sleeper who believes
in hydrogen opens no window."""
GASSING_PER_C = -0.0017
"""Share by which the gassing voltage changes for each degree above 25: 4 mV for each
cell of 2.35 V (unverified; pages on charging say 3 to 5)."""
GASSING_AT_C = 25.0
CO2_OFF_PPM, CO2_OFF_SHARE = 50.0, 0.05
"""So much a good CO2 part may read too high (sensors sheet, 1)."""
HELD = 0.8
"""Stands on while this share of the excess over its margin is left (our choice)."""


@attrs.frozen
class Params:
    """Which series is judged, and with what margins."""

    subject: str = ""
    rich_pct: float = attrs.field(
        default=0.7, validator=Between(0.0, 5.0, laxer="higher")
    )
    """Oxygen above what air of this vapour and carbon dioxide can hold, in % of volume:
    the optical part's accuracy of 0.6 (sensors sheet, 11), and a tenth."""
    pressure_pct: float = attrs.field(
        default=0.4, validator=Between(0.1, 5.0, laxer="higher")
    )
    """Oxygen against its own partial pressure over the air's, in % of volume: 5 and
    1 hPa of the two pressure cells make 0.13 (sensors sheet, 11 and 3); three times."""
    altitude_hpa: float = attrs.field(
        default=60.0, validator=Between(20.0, 500.0, laxer="higher")
    )
    """Pressure against the standard one of the height: weather moves it by 50 at the
    most (common practice, no source)."""
    baseline_ppm: float = attrs.field(
        default=380.0, validator=Between(0.0, 500.0, laxer="lower")
    )
    """CO2 below this is less than any outdoor air (sensors sheet, 14, row 26)."""
    cold_c: float = attrs.field(
        default=-10.0, validator=Between(-60.0, 20.0, laxer="lower")
    )
    """Colder than this a CO cell or module under-reads (sensors sheet, 12 and 14,
    row 28)."""
    zero_ppm: float = attrs.field(
        default=-1.5, validator=Between(-12.0, -0.5, laxer="lower")
    )
    """CO below this is a zero that was taken in foul air: five times the noise of the
    modules (our choice)."""
    hydrogen_ppm: float = attrs.field(
        default=5.0, validator=Between(0.5, 1000.0, laxer="either")
    )
    """So much CO while the battery gasses may be hydrogen (our choice: above any
    module's zero).  Neither this nor the next two has a stricter way: the one says less
    of hydrogen, the other calls true CO hydrogen."""
    gassing_v: float = attrs.field(
        default=14.1, validator=Between(1.0, 60.0, laxer="either")
    )
    """A 12 V lead battery gives off hydrogen above 14.1 to 14.7 at 25 °C, more volts
    where it is colder; it floats at up to 13.9 without (unverified)."""
    charging_a: float = attrs.field(
        default=0.5, validator=Between(0.0, 100.0, laxer="either")
    )
    """Current into the battery that counts as charging (our choice)."""


def _near(history: History, quantity: str, place: str) -> float | None:
    """Return a fresh, undoubted value at a place, or else at the bunk."""
    for at in (place, ""):
        for key in history.layout.index(quantity, at):
            series = history.fresh(key)
            if series is not None and not series.doubtful:
                return series.value
    return None


def _air_hpa(history: History, part: str) -> float | None:
    """Return the air pressure that another part gives; any part's, without one."""
    own: float | None = None
    for key in history.layout.index("pressure_hpa", ""):
        series = history.fresh(key)
        if series is None or series.doubtful:
            continue
        if history.layout.series[key].part != part:
            return series.value
        own = series.value
    return own


def _beyond(excess: float, margin: float) -> tuple[Priority | None, Priority | None]:
    """Return what an excess over zero raises, and what may stand on."""
    fault = Priority.FAULT
    raised = fault if excess > margin else None
    return raised, fault if excess > HELD * margin else None


def _facts(
    history: History, key: str, value: float, unit: str
) -> dict[str, str | float]:
    return {"part": place_of(history, key), "value": value, "unit": unit}


def _most_o2_pct(history: History, key: str) -> float:
    """Return the most oxygen that air of this vapour and carbon dioxide can hold.

    Whatever breathes or burns takes oxygen for the carbon dioxide that it gives.
    """
    found = split_channel(key)
    place = "" if found is None else found[1]
    most_pct = O2_DRY_PCT
    co2_ppm = _least_co2_ppm(history)
    if co2_ppm is not None:
        sure_ppm = (1.0 - CO2_OFF_SHARE) * co2_ppm - CO2_OFF_PPM
        given_ppm = max(0.0, sure_ppm - FRESH_CO2_PPM)
        most_pct -= LEAST_O2_PER_CO2 * given_ppm / 1e4
    air_hpa = _air_hpa(history, history.layout.series[key].part)
    temp_c, rh = _near(history, "temp_c", place), _near(history, "rh_pct", place)
    if air_hpa is not None and temp_c is not None and rh is not None:
        most_pct *= 1.0 - vapour_hpa(temp_c, min(max(rh, 0.0), 100.0)) / air_hpa
    return most_pct


def _least_co2_ppm(history: History) -> float | None:
    """Return the least carbon dioxide that any part sees where people breathe."""
    values = []
    for key in history.layout.index("co2_ppm"):
        series = history.fresh(key)
        is_out = history.layout.series[key].part in history.sources
        if series is None or series.doubtful or is_out or not is_breathed(key):
            continue
        if series.at_least or not history.stands_still(key):
            values.append(series.value)
    return min(values, default=None)


def _oxygen(
    params: Params, history: History, key: str, series: Series
) -> Verdict | None:
    """Judge oxygen against what the air has room for, and against the pressure."""
    part = history.layout.series[key].part
    most_pct = _most_o2_pct(history, key)
    margin_pct = params.rich_pct + off_by(history, key)
    raised, hold = _beyond(series.value - most_pct, margin_pct)
    if hold is not None:
        facts = _facts(history, key, series.value, "%")
        evidence = {"series": key, "o2_pct": series.value, "most_pct": most_pct}
        return Verdict(raised, hold, facts, evidence, wording="rich")
    off_pct = _off_its_pressure(history, part, series.value, _air_hpa(history, part))
    if off_pct is None:
        return _FINE
    raised, hold = _beyond(abs(off_pct), params.pressure_pct)
    facts = _facts(history, key, abs(off_pct), "%")
    evidence = {
        "series": key,
        "off_pct": off_pct,
        "pressure_hpa": _air_hpa(history, part),
    }
    return Verdict(raised, hold, facts, evidence, wording="pressure")


def _is_alone(params: Params, history: History, key: str) -> bool:
    """Return whether no other oxygen part is trusted that this air has room for.

    Two cells of one age wear out together: one that reads too high vouches for none.
    """
    for other in history.layout.index("o2_pct"):
        if other == key or not is_breathed(other) or not history.is_trusted(other):
            continue
        most_pct = _most_o2_pct(history, other)
        margin_pct = params.rich_pct + off_by(history, other)
        if history.series[other].value - most_pct <= HELD * margin_pct:
            return False
    return True


def _off_its_pressure(
    history: History, part: str, o2_pct: float, air_hpa: float | None
) -> float | None:
    """Return how far oxygen lies above its partial pressure over the air's."""
    if air_hpa is None or air_hpa <= 0.0:
        return None
    for key in history.layout.index("o2_hpa"):
        partial = history.fresh(key)
        if partial is not None and history.layout.series[key].part == part:
            return o2_pct - 100.0 * partial.value / air_hpa
    return None


def _pressure(
    params: Params, history: History, key: str, series: Series
) -> Verdict | None:
    """Judge air pressure against the standard one of the cabin's height."""
    altitude_m = history.layout.surroundings.altitude_m
    if altitude_m is None:
        return None
    off_hpa = series.value - pressure_hpa(altitude_m)
    raised, hold = _beyond(abs(off_hpa), params.altitude_hpa)
    facts = _facts(history, key, series.value, "hPa")
    evidence = {"series": key, "off_hpa": off_hpa, "altitude_m": altitude_m}
    return Verdict(raised, hold, facts, evidence, wording="altitude")


def _carbon_dioxide(
    params: Params, history: History, key: str, series: Series
) -> Verdict | None:
    """Judge carbon dioxide against the least that air outdoors has."""
    low = series.value < params.baseline_ppm
    near = series.value < params.baseline_ppm + 10.0
    return Verdict(
        Priority.FAULT if low else None,
        Priority.FAULT if near else None,
        facts=_facts(history, key, series.value, "ppm"),
        evidence={"series": key, "co2_ppm": series.value},
        wording="baseline",
    )


def _carbon_monoxide(
    params: Params, history: History, key: str, series: Series
) -> Verdict | None:
    """Judge carbon monoxide against a charging battery, and against the cold."""
    if params.hydrogen_ppm <= series.value < MOST_HYDROGEN_PPM and _gasses(
        params, history
    ):
        return Verdict(
            Priority.LOW,
            facts=_facts(history, key, series.value, "ppm"),
            evidence={"series": key, "co_ppm": series.value},
            wording="hydrogen",
        )
    found = split_channel(key)
    temp_c = _near(history, "temp_c", "" if found is None else found[1])
    if temp_c is not None and temp_c < params.cold_c + 1.0:
        return Verdict(
            Priority.FAULT if temp_c < params.cold_c else None,
            Priority.FAULT,
            facts=_facts(history, key, temp_c, "°C"),
            evidence={"series": key, "temp_c": temp_c},
            wording="cold",
        )
    if series.value < HELD * params.zero_ppm:
        # It goes on seeing what comes, late by its zero: nobody is woken for that.
        return Verdict(
            Priority.LOW if series.value < params.zero_ppm else None,
            Priority.LOW,
            facts=_facts(history, key, series.value, "ppm"),
            evidence={"series": key, "co_ppm": series.value},
            wording="zero",
        )
    return _FINE


def _gasses(params: Params, history: History) -> bool:
    """Return whether a lead battery charges so hard that it gives off hydrogen.

    Hydrogen reads as up to a tenth of itself on a CO cell (sensors sheet, 7b).
    """
    volts = _near(history, "supply_v", "")
    amperes = _near(history, "supply_a", "")
    if volts is None or amperes is None:
        return False
    return volts >= _gassing_v(params, history) and amperes >= params.charging_a


def _gassing_v(params: Params, history: History) -> float:
    """Return the voltage from which a battery as cold as this air gives off hydrogen.

    Nobody measures where it stands: the coldest that is known rules, since calling
    carbon monoxide hydrogen is the worse mistake.
    """
    temps = (_near(history, "temp_c", place) for place in ("", "outside"))
    colder_c = min((t - GASSING_AT_C for t in temps if t is not None), default=0.0)
    return params.gassing_v * (1.0 + GASSING_PER_C * min(0.0, colder_c))


Check = Callable[[Params, History, str, Series], Verdict | None]
CHECKS: Mapping[str, Check] = {
    "o2_pct": _oxygen,
    "pressure_hpa": _pressure,
    "co2_ppm": _carbon_dioxide,
    "co_ppm": _carbon_monoxide,
}
"""By quantity; what is not here has no fellow of another kind."""


def judge(params: Params, history: History, now: float) -> Verdict | None:
    """Judge one series against what is known of its air.

    Returns:
        None where the series gives nothing to be relied on, or no fellow does.
    """
    del now
    key = params.subject
    found = split_channel(key)
    check = None if found is None else CHECKS.get(found[0].name)
    if check is None:
        return _FINE
    series = history.fresh(key)
    if series is None or series.doubtful or series.at_least:
        return None
    return _weighed(check(params, history, key, series), params, history, key)


def _weighed(
    verdict: Verdict | None, params: Params, history: History, key: str
) -> Verdict | None:
    """Weigh a fault as a loss: what cannot be so watches nothing."""
    if verdict is None or verdict.hold is not Priority.FAULT:
        return verdict
    if verdict.wording == "rich":
        if not (is_vital(key) and _is_alone(params, history, key)):
            return verdict
        raised = None if verdict.priority is None else Priority.MEDIUM
        return replace(verdict, priority=raised, hold=Priority.MEDIUM)
    loss = loss_of(history, key)
    if not loss.wording:
        return verdict
    raised = None if verdict.priority is None else loss.priority
    return replace(
        verdict,
        priority=raised,
        hold=loss.priority,
        facts={**verdict.facts, "text": loss.text},
        evidence={**verdict.evidence, "why": verdict.wording},
        wording=loss.wording,
    )


def gravest(params: Params) -> Priority:
    """Return the gravest that it can ring as."""
    if quantity_name(params.subject) == "co_ppm":
        return max(gravest_loss(params.subject), Priority.LOW)  # hydrogen
    return gravest_loss(params.subject)


_FINE = Verdict(None)
