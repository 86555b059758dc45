"""Limits on means over hours: little of a gas, for long.

Sources: the WHO's pairs (check values `co_who2000`, read, secondary; `co_who2010`, from
memory), AEGL-2 (`co_aegl`, from memory), ACGIH (`co_occupational`, read); NIOSH
(`co2_occupational`, read); EH40/2005 for 15 000 ppm over 15 min (from memory).
"""

import pytest

from cabinvigil.daemon.core.all_clear import ALL_CLEAR_AFTER_S
from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import level
from cabinvigil.daemon.rules.level import RECENT_S, LevelStep, Params
from tests.core.scenario import Night, cabin
from tests.rules.asked import asked, says
from tests.rules.test_level import CO2, reading
from tests.rules.test_rules import LIMITS, params_of

P = Priority
CO_LEVEL: Params = params_of(level, LIMITS["co-level"])
CO2_LEVEL: Params = params_of(level, LIMITS["co2-level"])


def shift(co2_ppm: float, hours: float) -> Night:
    night = Night(cabin(keys=["co2_ppm"]))
    night.hold({"co2_ppm": co2_ppm}, hours * 3600.0 + 60.0, 60.0)
    return night


def test_a_working_days_mean_wakes_where_the_value_only_tells() -> None:
    """5 000 ppm as the mean of eight hours (`co2_occupational`) is medium."""
    assert says(level, CO2, shift(5100.0, 7.0)) is P.LOW
    night = shift(5100.0, 8.0)
    verdict = asked(level, CO2, night)
    assert verdict is not None
    assert verdict.priority is P.MEDIUM
    assert verdict.wording == "mean"
    assert verdict.facts["hours"] == 8.0
    assert verdict.evidence["over_s"] == 28800.0
    assert verdict.facts["co2_ppm"] == pytest.approx(5100.0, rel=0.01)


def test_the_mean_rings_though_the_value_is_good_again() -> None:
    """Aired a minute ago: the day's mean stands all the same."""
    night = shift(7000.0, 7.0)
    night.hold({"co2_ppm": 900.0}, 120.0)
    verdict = asked(level, CO2, night)
    assert verdict is not None
    assert (verdict.priority, verdict.severity) == (P.MEDIUM, 900.0 - 5000.0)


def test_the_worst_mean_of_all_places_counts() -> None:
    """Above: the highest; below: the lowest; unknown places count for nothing."""
    night = Night(cabin(keys=["temp_c", "temp_c_ceiling", "temp_c_loft"]))
    night.hold({"temp_c": 10.0, "temp_c_ceiling": 20.0}, 180.0)
    for side, value in (("above", 20.0), ("below", 10.0)):
        steps = [LevelStep(15.0, "low", over_s=120.0)]
        params = Params("temp_c", side, steps)  # type: ignore[arg-type]
        verdict = asked(level, params, night)
        assert verdict is not None
        assert verdict.facts["temp_c"] == value


def test_a_mean_that_is_not_known_yet_says_nothing() -> None:
    """In the first minute the value alone is judged."""
    dust = Params("pm2_5_ugm3", "above", [LevelStep(50.0, "low", over_s=3600.0)])
    assert says(level, dust, reading("pm2_5_ugm3", 900.0)) is None


def rung_after_h(co_ppm: float, for_h: float, least: Priority) -> float | None:
    """Hours at a constant level until `co-level` rings so gravely; None: never."""
    night = Night(cabin(keys=["co_ppm"]))
    while night.now <= for_h * 3600.0 + 120.0:
        night.air({"co_ppm": co_ppm}, 60.0)
        verdict = asked(level, CO_LEVEL, night)
        if verdict is not None and (verdict.priority or P.FAULT) >= least:
            return night.now / 3600.0
    return None


@pytest.mark.parametrize(
    ("co_ppm", "hours", "least"),
    [
        (90.0, 0.25, P.LOW),
        (50.0, 0.5, P.LOW),
        (25.0, 1.0, P.LOW),
        (30.0, 1.0, P.LOW),
        (10.0, 8.0, P.LOW),
        (9.0, 8.0, P.LOW),
        (8.73, 8.0, P.LOW),
    ],
)
def test_a_pair_of_the_who_is_told_by_its_time(
    co_ppm: float, hours: float, least: Priority
) -> None:
    """Held for its time, each pair of WHO 2000 and 2010 raises a notice."""
    rung = rung_after_h(co_ppm, hours, least)
    assert rung is not None
    assert rung <= hours + 120.0 / 3600.0


@pytest.mark.parametrize(
    ("co_ppm", "hours"),
    [(420.0, 1 / 6), (150.0, 0.5), (83.0, 1.0), (33.0, 4.0), (27.0, 8.0)],
)
def test_people_are_woken_before_an_aegl_2_is_reached(
    co_ppm: float, hours: float
) -> None:
    """From there the ill take lasting harm: each row of `co_aegl`."""
    rung = rung_after_h(co_ppm, hours, P.MEDIUM)
    assert rung is not None
    assert rung < hours


def test_a_clean_heater_tells_nothing_all_night() -> None:
    """6 ppm, as the quiet night has it, is under every value for nine hours."""
    assert rung_after_h(6.1, 9.0, P.LOW) is None


def aired(quantity: str, params: Params, foul: float, hours: float) -> Night:
    spec = AlarmSpec("made", "level", params, level.judge, off_delay_s=60.0, ack_s=1e4)
    night = Night(cabin(spec, keys=[quantity]))
    night.hold({quantity: foul}, hours * 3600.0 + 60.0, 60.0)
    assert night.standing("made").stands
    night.act("ack")
    return night


@pytest.mark.parametrize(
    ("quantity", "params", "foul", "hours", "fresh"),
    [
        ("co_ppm", CO_LEVEL, 150.0, 4.0, 0.0),
        ("co_ppm", CO_LEVEL, 26.0, 7.0, 6.0),
        ("co2_ppm", CO2_LEVEL, 17_000.0, 7.0, 600.0),
    ],
)
def test_a_mean_does_not_outlive_the_air_by_hours(
    quantity: str, params: Params, foul: float, hours: float, fresh: float
) -> None:
    """What is owed after a grave alarm is an all-clear in minutes, not in hours.

    The mean of the hours before is still beyond its limit then.
    """
    night = aired(quantity, params, foul, hours)
    night.hold({quantity: fresh}, RECENT_S + 120.0, 60.0)
    assert night.standing("made").state in {
        AlarmState.NORMAL,
        AlarmState.RETURNED,
        AlarmState.LATCHED_ACKNOWLEDGED,
    }
    history = night.state.history
    longest_s = max(step.over_s for step in params.steps)
    mean = history.mean(quantity, longest_s, params.before)
    assert mean is not None
    assert mean > min(s.at for s in params.steps if s.over_s == longest_s)
    assert RECENT_S + 120.0 + ALL_CLEAR_AFTER_S < 1800.0


def test_a_burner_that_cycles_does_not_ring_and_clear() -> None:
    """Three minutes on, three off: the last ten minutes go with the mean."""
    night = Night(cabin(keys=["co_ppm"]))
    heard = set()
    for n in range(8 * 60 + 60):
        night.air({"co_ppm": 24.0 if n // 3 % 2 else 0.0}, 60.0)
        if n > 8 * 60:
            heard.add(says(level, CO_LEVEL, night))
    assert heard == {P.LOW}


@pytest.mark.parametrize(
    ("minutes", "co2_ppm", "expected"),
    [(14, 15_200.0, P.MEDIUM), (16, 15_200.0, P.HIGH), (30, 14_800.0, P.MEDIUM)],
)
def test_a_quarter_of_an_hour_at_15000_ppm_orders_people_out(
    minutes: int, co2_ppm: float, expected: Priority
) -> None:
    """EH40; where nobody measures oxygen, burnt air says here what `o2-low` would."""
    night = Night(cabin(keys=["co2_ppm"]))
    night.hold({"co2_ppm": 12_000.0}, 1800.0, 60.0)
    night.hold({"co2_ppm": co2_ppm}, minutes * 60.0 + 60.0, 60.0)
    assert says(level, CO2_LEVEL, night) is expected


def test_of_two_steps_of_one_priority_the_one_on_now_is_told() -> None:
    """40 ppm now says more than 30 over the last hour."""
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 40.0}, 7200.0, 60.0)
    verdict = asked(level, CO_LEVEL, night)
    assert verdict is not None
    assert (verdict.wording, verdict.facts["co_ppm"]) == ("", 40.0)


def test_the_dead_band_of_a_mean_is_a_tenth_of_it_at_most() -> None:
    """8.7 ppm less a ladder's 5 would hold through any night."""
    steps = [LevelStep(10.0, "low", over_s=1200.0)]
    params = Params("co_ppm", "above", steps, dead_band=5.0)
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 9.1}, 1800.0, 60.0)
    verdict = asked(level, params, night)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (None, P.LOW)
    night.hold({"co_ppm": 8.8}, 1800.0, 60.0)
    verdict = asked(level, params, night)
    assert verdict is not None
    assert verdict.hold is None


def test_after_a_hole_the_mean_counts_by_itself() -> None:
    """Nothing is known of the last ten minutes: the hours before are what there is."""
    night = Night(cabin(keys=["co2_ppm"]))
    night.hold({"co2_ppm": 9000.0}, 8 * 3600.0, 60.0)
    night.air({}, 1200.0)
    night.air({"co2_ppm": 9000.0}, 10.0)
    assert says(level, CO2_LEVEL, night) is P.MEDIUM
