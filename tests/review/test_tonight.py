"""What to change tonight, and how parts kept watch."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import morning
from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.review.alarm_episodes import AlarmEpisode
from cabinvigil.daemon.review.blood import dose
from cabinvigil.daemon.review.cabin_facts import (
    CabinFacts,
    Limit,
    cabin_facts,
    limits_of,
)
from cabinvigil.daemon.review.cabin_model import SettlingCase, settled
from cabinvigil.daemon.review.closest_approach import approaches, means, spare
from cabinvigil.daemon.review.health import SourceFaults, Watched, troubles, watched
from cabinvigil.daemon.review.openings import Vent
from cabinvigil.daemon.review.stretches import Stretch, Totals
from cabinvigil.daemon.review.tonight import MOST, Situation, advice
from tests.commands import calling
from tests.review import logs, named

HOUR = 3600.0
FACTS = cabin_facts(logs.config())
O2 = Limit("o2-low", "o2_pct", "below", 19.5, "high")


def totals(air_m3_h: float, burn_kw: float, lit_h: float = 8.0) -> Totals:
    def sure(value: float) -> tuple[float, float, float]:
        return value, value, value

    return Totals(
        sure(air_m3_h / 11.0),
        sure(air_m3_h),
        sure(burn_kw),
        lit_h,
        sure(burn_kw * lit_h),
        sure(burn_kw * lit_h / 14.0),
        sure(1.0),
        sure(0.5),
        sure(0.5),
    )


def situation(
    air_m3_h: float, burn_kw: float, low_pct: float, **more: object
) -> Situation:
    """The Lapwing, nine hours the same."""
    flows = 24.0, 38.0, 54.0
    vent = Vent((10.0, 20.0, 30.0), 150.0, flows, (150.0, flows))
    stretch = Stretch(0.0, 9 * HOUR, "", 9.0, totals(air_m3_h, burn_kw), vent)
    tape_near = [_approach(low_pct)]
    night = Situation(
        facts=FACTS,
        stretches=[stretch],
        near=tape_near,
        rang=[],
        seen=[],
        troubles=[],
        wet_h=0.0,
        most_co_ppm=3.0,
        co_per_co2=0.002,
        outside_c=-9.0,
        people=2.0,
        parts={},
    )
    return replace(night, **more)  # type: ignore[arg-type]


def _approach(value: float):  # type: ignore[no-untyped-def]
    from cabinvigil.daemon.review.closest_approach import Approach

    return Approach(
        O2, value, HOUR, value - 19.5, 0.0, is_at_least=False, known_share=1.0
    )


def rang(alarm: str) -> AlarmEpisode:
    return AlarmEpisode(alarm, 0.0, "high", "")


def test_vents_that_were_shut_are_to_be_opened() -> None:
    """As fitted they pass enough for the low setting."""
    first, one = advice(situation(3.0, 0.8, 18.4))
    assert first.do.startswith("Do not sleep with the heater lit")
    assert "keep both vents open and free of rime" in one.do
    assert one.then is not None
    assert one.then.o2_pct >= 20.0


def test_on_high_the_low_setting_is_asked_for_too() -> None:
    """1.6 kW is too much for 38 m3/h, and 0.8 kW is not."""
    first, one = advice(situation(3.0, 1.6, 18.0))
    assert first.do.startswith("Do not sleep with the heater lit")
    assert one.do.startswith("While the heater is lit: keep both vents open, and burn")


def test_vents_too_small_are_to_be_larger() -> None:
    """All the air they pass, on low, and still short of it: a larger vent."""
    tight = replace(FACTS, vent_low_cm2=60.0, vent_high_cm2=60.0)
    flows = 11.0, 15.0, 20.0
    vent = Vent((50.0, 60.0, 70.0), 60.0, flows, (60.0, flows))
    stretch = Stretch(0.0, 9 * HOUR, "", 9.0, totals(15.0, 0.8), vent)
    _, one = advice(situation(15.0, 0.8, 19.0, facts=tight, stretches=[stretch]))
    assert one.do.startswith("While the heater is lit: fit a low and a high vent of ")
    assert one.then is not None
    assert one.then.co2_ppm <= 5000.0
    found = re.search(r"of (\d+) cm² each", one.do)
    assert found is not None
    # what is cut is enough at the least that it may pass: 11 of 15 m3/h for each 60 cm2
    least = settled(tight, SettlingCase(float(found[1]) * 11.0 / 60.0, 0.8, 2.0, -9.0))
    assert least is not None
    assert least.o2_pct >= 20.0
    assert least.co2_ppm <= 5000.0


@pytest.mark.parametrize("air_m3_h", [0.5, 3.0, 12.0])
def test_no_heater_is_spoken_of_where_none_is_fitted(air_m3_h: float) -> None:
    """Three who sleep in a cabin that is shut are told of air alone."""
    bare = replace(FACTS, burner_kw=0.0, burner_low_kw=None)
    told = advice(situation(air_m3_h, 0.0, 18.9, facts=bare, people=3.0))
    assert told
    assert not any("heater" in one.do or "burn" in one.do for one in told)
    (nothing_known,) = advice(situation(3.0, 0.0, 18.9, facts=bare, outside_c=None))
    assert nothing_known.do.startswith("Open more vent")


def test_where_vents_are_not_known_air_is_asked_for() -> None:
    """In m3/h, since nobody knows the openings."""
    stretch = Stretch(0.0, 9 * HOUR, "", 9.0, totals(15.0, 0.8), None)
    _, one = advice(situation(15.0, 0.8, 19.0, stretches=[stretch]))
    assert one.do.startswith("While the heater is lit: let in ")
    assert "m³/h of outdoor air" in one.do


def test_a_sooty_flame_comes_before_air() -> None:
    """4 % CO for its CO2 is no clean flame; 0.25 % is, however little air there was."""
    told = advice(situation(3.0, 0.8, 18.4, most_co_ppm=300.0, co_per_co2=0.04))
    assert "cleaned" in told[0].do
    assert "19 ppm CO, not 300" in told[0].expect
    clean = advice(situation(3.0, 0.8, 18.4, most_co_ppm=40.0, co_per_co2=0.0025))
    assert not any("cleaned" in one.do for one in clean)


def test_another_gas_comes_first_of_all() -> None:
    """The cylinder is closed before anything else is thought of."""
    night = situation(3.0, 0.8, 18.4, rang=[rang("displaced-air"), rang("supply-low")])
    told = advice(night)
    assert told[0].do.startswith("Close the cylinder")
    assert len(told) <= MOST
    assert any("battery" in one.do for one in told)


def test_wet_glass_alone_is_a_reason_for_more_air() -> None:
    """Its effect is told as dew point against glass."""
    (one,) = advice(situation(20.0, 0.8, 20.2, wet_h=6.0))
    assert "dew point" in one.expect
    assert one.then is not None
    assert one.then.dew_point_c < one.then.glass_c


def test_nothing_is_made_up_where_nothing_is_known() -> None:
    """No outdoor temperature: the vents are to be opened, without figures."""
    (one,) = advice(situation(3.0, 0.8, 18.4, outside_c=None))
    assert (one.expect, one.then) == ("", None)


def test_the_model_settles_by_the_balance_of_co2() -> None:
    """Excess CO2 is what is given off over the air that enters: arithmetic by hand."""
    # 0.8 kW of propane: 0.8 / 2219.2 * 3 mol/s of CO2 (check_values, fuel_heats)
    way = SettlingCase(38.0, 0.8, 0.0, -9.0)
    found = settled(FACTS, way)
    assert found is not None
    enters = 38.0 / 3600.0 * FACTS.pressure_hpa * 100.0 / (8.314462618 * 264.15)
    expected = 1e6 * 0.8 / 2219.2 * 3.0 / enters
    assert found.co2_ppm - FACTS.outdoor_co2_ppm == pytest.approx(expected, rel=0.02)
    assert settled(CabinFacts(), way) is None
    assert settled(FACTS, replace(way, air_m3_h=0.0)) is None


def test_facts_of_another_version_count_as_unknown() -> None:
    """Odd values are no mistake; a mix of gases is by mass."""
    odd = {"volume_m3": "x", "people": True, "altitude_m": 1e9, "fuel": {"coal": 1}}
    found = cabin_facts({"cabin": odd, "part": {"a": {"kind": "no such"}, "b": 3}})
    assert found == CabinFacts()
    assert cabin_facts({"cabin": 7, "part": 7}) == CabinFacts()
    mixed = cabin_facts({"cabin": {"fuel": {"propane": 0.5, "butane": 0.5}}})
    # 44.1 and 58.1 g/mol: 0.569 of the moles are propane
    assert mixed.liquid["propane"] == pytest.approx(0.5686, abs=1e-3)
    assert (
        limits_of({"alarm": {"x": 3, "o2-low": {"kind": "level", "steps": [7]}}}) == []
    )
    assert limits_of({"alarm": None}) == []


def test_faults_are_summed_by_their_source(tmp_path: Path) -> None:
    """Two faults of five and of ten minutes; what lasts ends with its run."""
    faults = [
        (600.0, "absent"),
        (900.0, "ok"),
        (1800.0, "absent"),
        (2400.0, "ok"),
        (3000.0, "stale"),
    ]
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    for at_s, kind in faults:
        fields = {"source": "bunk-o2", "kind": kind, "text": "It is silent."}
        data += logs.line("fault", at_s + HOUR, **fields)
    data += logs.air(logs.still_air(2 * HOUR, 2 * HOUR + 60.0))
    (one,) = troubles(read_tape([logs.write(tmp_path, data)]))
    assert (one.source, one.count, one.text) == ("bunk-o2", 3, "It is silent.")
    assert one.minutes == pytest.approx(5.0 + 10.0 + 11.0)


def test_a_refused_ask_is_a_moment_and_not_the_rest_of_the_night(
    tmp_path: Path,
) -> None:
    """Its line has no end, for nothing is wrong with the watch."""
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    for at_s in (600.0, 900.0):
        fields = {"source": "ask", "kind": "refused", "text": "An ask was refused."}
        data += logs.line("fault", at_s + HOUR, **fields)
    data += logs.air(logs.still_air(2 * HOUR, 2 * HOUR + 60.0))
    (one,) = troubles(read_tape([logs.write(tmp_path, data)]))
    assert (one.source, one.count, one.minutes) == ("ask", 2, 0.0)


def test_a_part_that_stands_still_is_not_watching(tmp_path: Path) -> None:
    """Its values are none while its alarm stands."""
    tape = read_tape(
        [logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, HOUR)))]
    )
    stuck = AlarmEpisode("sensor-stuck/o2_pct", 1800.0, "fault", "", to_s=2700.0)
    seen = {one.quantity: one for one in watched(tape, [stuck])}
    assert list(seen)[:2] == ["o2_pct", "co_ppm"]
    assert seen["o2_pct"].longest_min == 15.0
    assert seen["o2_pct"].unseen_from_s == 1800.0
    assert seen["co_ppm"].share == 1.0


@pytest.mark.parametrize(("priority", "unseen_min"), [("medium", 15.0), ("fault", 0.0)])
def test_oxygen_that_was_not_to_be_trusted_is_not_watched(
    tmp_path: Path, priority: str, unseen_min: float
) -> None:
    """Too high for its air, and no other part vouched for it: who woke was told so."""
    tape = read_tape(
        [logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, HOUR)))]
    )
    alarm = "sensor-implausible/o2_pct"
    high = AlarmEpisode(alarm, 1800.0, priority, "", to_s=2700.0)
    seen = {one.quantity: one for one in watched(tape, [high])}
    assert seen["o2_pct"].unseen_min == unseen_min
    assert seen["co_ppm"].share == 1.0


def test_a_mean_of_hours_needs_its_hours() -> None:
    """None until then; then the mean of what is known."""
    assert means([1.0, 3.0, None, 5.0], 2) == [None, 2.0, 3.0, 5.0]


def test_the_dose_stands_still_over_a_hole(tmp_path: Path) -> None:
    """CO is taken to go on for five minutes, and no longer."""
    rows = [(30.0 * n, {"co_ppm": 200.0}) for n in range(20)]
    rows += [(30.0 * n, {"o2_pct": 20.5}) for n in range(20, 80)]
    tape = read_tape([logs.write(tmp_path, logs.begin() + logs.air(rows))])
    blood = dose(tape, CabinFacts())
    assert blood[29] > blood[19] > blood[0]
    assert blood[-1] == blood[29]


def test_a_limit_passed_tells_how_long(tmp_path: Path) -> None:
    """Ten minutes at 19.4 %."""
    rows = logs.still_air(0.0, HOUR)
    rows[60:120] = [(at, {**row, "o2_pct": 19.4}) for at, row in rows[60:120]]
    tape = read_tape([logs.write(tmp_path, logs.begin() + logs.air(rows))])
    (one,) = approaches(tape, {O2: [(0.0, tape.length_s)]}, dose(tape, CabinFacts()))
    assert (one.value, one.beyond_min) == (pytest.approx(19.4), 10.0)
    assert one.at_s == pytest.approx(600.0, abs=30.0)
    assert spare(tape) is None


def test_what_is_expected_says_how_sure_that_is() -> None:
    """Vents pass 24 to 54 m3/h: the oxygen that it settles at is an interval."""
    [one] = [one for one in advice(situation(2.0, 0.8, 18.0)) if one.then is not None]
    found = re.search(
        r"oxygen settles at ([\d.]+) % \(([\d.]+) to ([\d.]+)\), "
        r"CO2 at (\d+) ppm \((\d+) to (\d+)\)",
        one.expect,
    )
    assert found is not None
    o2, o2_low, o2_high, co2, co2_low, co2_high = map(float, found.groups())
    assert one.then is not None
    assert o2 == pytest.approx(one.then.o2_pct, abs=0.06)
    assert o2_low < o2 < o2_high
    assert co2_low < co2 < co2_high
    # the same balance by hand at 24 m3/h: 0.8 kW and two sleepers' CO2 in it
    way = SettlingCase(24.0, 0.8, 2.0, -9.0)
    least = settled(FACTS, way)
    assert least is not None
    assert o2_low == pytest.approx(least.o2_pct, abs=0.06)


def test_a_silent_watch_is_asked_after_and_not_its_sensors() -> None:
    """Two hours without a line: supply, plugs, card; else the part at fault."""
    unseen = Watched("o2_pct", "oxygen", 0.8, 120.0, 120.0, 0.0)
    trouble = SourceFaults("bunk-o2", 1, 120.0, "silent")
    seen: dict[str, object] = {"seen": [unseen], "parts": {"o2_pct": ["bunk-o2"]}}
    silent = advice(situation(40.0, 0.8, 20.3, silent_min=125.0, **seen))
    assert "why the monitor was silent" in silent[0].do
    assert "2.1 h went unrecorded" in silent[0].expect
    at_fault = advice(situation(40.0, 0.8, 20.3, troubles=[trouble], **seen))
    assert at_fault[0].do == "Check bunk-o2, which measures oxygen, before you sleep"
    assert "2.0 h went unmonitored" in at_fault[0].expect
    nobody = advice(situation(40.0, 0.8, 20.3, **seen))
    assert "the sensor that measures oxygen" in nobody[0].do


def test_a_sensor_in_doubt_is_no_faulty_one() -> None:
    """Damp and cold pass by themselves: nothing is to be repaired."""
    unseen = Watched("o2_pct", "oxygen", 0.8, 120.0, 120.0, 0.0)
    doubted = AlarmEpisode("sensor-warming/bunk-o2", 0.0, "fault", "", to_s=7200.0)
    night = situation(
        *(40.0, 0.8, 20.3), seen=[unseen], parts={"o2_pct": ["bunk-o2"]}, rang=[doubted]
    )
    first = advice(night)[0]
    assert first.do.startswith("Let bunk-o2 get warm and dry before bed")
    assert "2.0 h counted as unmonitored" in first.expect
    trouble = SourceFaults("bunk-o2", 1, 120.0, "silent")
    assert advice(replace(night, troubles=[trouble]))[0].do.startswith("Check bunk-o2")


def test_the_page_is_written_where_it_is_asked_for(tmp_path: Path) -> None:
    """Or one sentence says why not."""
    night = named.night("quiet")[0]
    path = logs.write(tmp_path, night + logs.line("stop", 9 * 3600.0, reason="SIGTERM"))

    def call(page: Path) -> tuple[int, str]:
        code, _, err = calling.call(morning, path, "--page", page)
        return code, err

    assert call(tmp_path / "page.html") == (0, "")
    assert (tmp_path / "page.html").read_text(encoding="utf-8").startswith("<!doctype")
    code, told = call(tmp_path / "no" / "page.html")
    assert code == 2
    assert "cannot be written" in told
    found = give_account(files(path))
    full, left = found.cylinder_h, found.cylinder_left_h
    assert full is not None
    assert left is not None
    # 5 kg of propane hold 70 kWh (HHV 13.99 kWh/kg): 90 h at 0.78 kW; ten are over
    assert full[1] == pytest.approx(90.0, rel=0.1)
    assert full[1] - left[1] == pytest.approx(found.whole.totals.lit_h, abs=1.0)  # type: ignore[union-attr]
    assert left[0] < left[1] < left[2] < full[2]


@pytest.mark.parametrize(
    ("low_cm2", "high_cm2", "said"),
    [
        (150.0, 150.0, "both vents open"),
        (None, None, "both vents open"),
        (0.0, 80.0, "bed, the vent open"),
        (80.0, 0.0, "bed, the vent open"),
        (0.0, 0.0, "before there is a vent"),
    ],
)
def test_the_vents_that_it_speaks_of_are_there(
    low_cm2: float | None, high_cm2: float | None, said: str
) -> None:
    facts = replace(FACTS, vent_low_cm2=low_cm2, vent_high_cm2=high_cm2)
    assert said in advice(situation(3.0, 1.6, 18.0, facts=facts))[0].do
