"""The step: readings, faults and acts in; states, sounds and tellings out."""

import json
import math

import pytest

from cabinvigil.daemon.air.blood import cohb_step
from cabinvigil.daemon.core.changes import BROKEN
from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    Priority,
    Record,
    Sound,
    SourceFault,
    SourceOk,
    Transition,
    Verdict,
)
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.rules import source
from tests.core.scenario import Night, cabin, co_level, ladder, o2_low, play


def test_every_step_logs_what_came_in() -> None:
    """The log's line of a tick holds the values, the bounds and the doubts."""
    night = Night(cabin(o2_low()))
    night.air({"o2_pct": 19.4}, doubtful=["o2_pct"], at_least=["o2_pct"])
    assert night.said[0][1] == Record(
        "air", {"o2_pct": 19.4, "at_least": ["o2_pct"], "doubtful": ["o2_pct"]}
    )
    night.air({})
    assert night.records("air")[-1] == Record("air", {})


def test_acts_and_faults_are_logged_at_once() -> None:
    """A mark, an answer, a fault and its end: one urgent line each."""
    night = Night(cabin(o2_low()))
    night.take(Act(ActKind.MARK, text="roof vent open 2 cm", by="socket"))
    night.take(Act(ActKind.ACKNOWLEDGE, "o2-low", "phone", "seen"))
    night.take(SourceFault("log", "not-writable", "the card is full"))
    night.take(SourceOk("log"))
    assert [c for _, c in night.said if isinstance(c, Record)] == [
        Record("mark", {"text": "roof vent open 2 cm", "by": "socket"}, urgent=True),
        Record(
            "act",
            {
                "act": "acknowledge",
                "alarm": "o2-low",
                "by": "phone",
                "text": "seen",
                "for_s": 0.0,
            },
            urgent=True,
        ),
        Record(
            "fault",
            {"source": "log", "kind": "not-writable", "text": "the card is full"},
            urgent=True,
        ),
        Record("fault", {"source": "log", "kind": "ok", "text": ""}, urgent=True),
    ]


def test_a_fault_rings_and_clears_with_its_source() -> None:
    """A part's fault is an alarm until the part is well."""
    spec = AlarmSpec(
        "sensor-fault/cell",
        "source",
        source.Params("cell"),
        source.judge,
        about_air=False,
    )
    night = Night(cabin(spec))
    night.take(SourceFault("cell", "absent", "the cell is gone"))
    assert night.state.sound == Sound("chirp", "sensor-fault/cell")
    night.take(SourceOk("another"), 1.0)
    assert night.now_in("sensor-fault/cell") == "unacknowledged"
    night.take(SourceOk("cell"), 1.0)
    assert night.now_in("sensor-fault/cell") == "normal"
    assert night.state.sound == Sound("quiet")


def test_the_graver_sound_goes_before_and_comes_back() -> None:
    """A high over a medium, and the medium again once the high is answered."""
    alarms = (o2_low(), ladder("co2-level", "co2_ppm", (10000.0, "medium")))
    night = Night(cabin(*alarms, keys=["o2_pct", "co2_ppm"]))
    night.hold({"o2_pct": 20.0, "co2_ppm": 12000.0}, 20.0)
    night.hold({"o2_pct": 19.0, "co2_ppm": 12000.0}, 20.0)
    night.act("ack", "o2-low")
    assert night.sounds() == [
        (10.0, "three-pulse"),
        (30.0, "temporal-four"),
        (42.0, "three-pulse"),
    ]
    assert night.state.sound.alarm == "co2-level"


def test_the_first_to_ring_is_marked() -> None:
    """First-up: the one that rang while no other that wakes people stood."""
    alarms = (
        ladder("cold", "temp_c", (30.0, "low")),
        ladder("co2-level", "co2_ppm", (10000.0, "medium")),
        o2_low(ack_s=50.0),
    )
    night = Night(cabin(*alarms, keys=["o2_pct", "co2_ppm", "temp_c"]))
    good = {"o2_pct": 20.9, "co2_ppm": 500.0, "temp_c": 40.0}
    night.air(good)
    night.air(good | {"co2_ppm": 12000.0})
    night.act("ack")
    bad = good | {"co2_ppm": 12000.0, "o2_pct": 19.0}
    night.hold(bad, 10.0)
    marks = {alarm: night.standing(alarm).first_up for alarm in night.state.standings}
    # The other stands, though answered: it was the first.
    assert marks == {"cold": False, "co2-level": True, "o2-low": False}
    night.act("ack")
    night.hold(bad, 600.0)
    assert night.standing("co2-level").first_up
    assert not night.standing("o2-low").first_up


def test_of_two_that_ring_at_once_one_is_first() -> None:
    """In the order of the config."""
    alarms = [ladder(name, "co_ppm", (50.0, "medium")) for name in ("one", "two")]
    night = Night(cabin(*alarms, keys=["co_ppm"]))
    night.air({"co_ppm": 60.0})
    assert [t.first_up for t in night.transitions()] == [True, False]


def test_a_low_alarm_that_grows_into_the_first_is_marked() -> None:
    """`low` wakes nobody; what rings first is the step to `medium`."""
    night = play("0 40 80", cabin(co_level(), keys=["co_ppm"]), key="co_ppm")
    assert [t.first_up for t in night.transitions()] == [False, True]


def test_nobody_answers_for_two_minutes_and_for_five() -> None:
    """Louder and told again after 2 min; the second topic after 5 (issue 7)."""
    night = play("20.9 19.4" + " 19.4" * 40)
    rang_s = 20.0
    assert [(at - rang_s, a.escalation) for at, a in night.alerts()] == [
        (0.0, 0),
        (120.0, 1),
        (300.0, 2),
        (300.0, 1),
    ]
    louder = [(at - rang_s, c.louder) for at, c in night.said if isinstance(c, Sound)]
    assert louder == [(0.0, False), (120.0, True)]
    night.act("ack")
    assert night.standing().escalation == 0


def test_what_is_told_again_has_the_numbers_of_then() -> None:
    """Two minutes later it may be worse: the old number would comfort."""
    night = play("20.9 19.4 19.3 19.2 19.1 19.05 19.0 18.95 18.95 18.95 18.95 18.95")
    while len(night.alerts()) < 2:
        night.hold({"o2_pct": 18.95}, 10.0, 10.0)
    first, *_, again = [alert for _, alert in night.alerts()]
    assert "o2_pct=19.4" in first.text
    assert again.escalation == 1
    assert "o2_pct=18.95" in again.text


def test_escalation_waits_for_no_reading() -> None:
    """With dumb sensors too, the empty ticks carry the time."""
    night = play("20.9 19.4 19.4" + " _" * 40)
    assert [a.escalation for _, a in night.alerts()] == [0, 1, 2, 1]


def test_light_alarms_that_come_and_go_are_two_texts() -> None:
    """The phone is spared the rest; what wakes people is told all the same."""
    spec = ladder("co-level", "co_ppm", (30.0, "low"), (100.0, "medium"))
    night = Night(cabin(spec, keys=["co_ppm"]))
    night.play("0 40 0 _ _ _ _" * 1, key="co_ppm")
    for _ in range(11):
        night.play("0 40", key="co_ppm", step_s=25.0)
    assert len([t for t in night.transitions() if t.state.value[0] == "u"]) == 12
    times_s = [at for at, _ in night.alerts()]
    assert max(sum(t <= at < t + 600.0 for at in times_s) for t in times_s) == 2
    night.hold({"co_ppm": 110.0}, 20.0)
    assert night.alerts()[-1][1].priority is Priority.MEDIUM


def test_the_test_sounds_only_where_no_danger_stands() -> None:
    """It never hides a standing sound, and is never taken for an answered danger."""
    night = play("20.9 test")
    assert night.sounds() == [(12.0, "test")]
    night.hold({"o2_pct": 20.9}, 600.0)
    night.play("19.4 19.4 test")
    assert [pattern for _, pattern in night.sounds()] == ["test", "temporal-four"]
    night.play("ack test")
    assert [pattern for _, pattern in night.sounds()][2:] == ["quiet"]


def test_the_test_sounds_once_in_ten_minutes_and_is_told_as_one() -> None:
    """A chirp does not hinder it: somebody looks for the fault, and tests."""
    fault = source.Params("cell")
    spec = AlarmSpec("sensor-fault/cell", "source", fault, source.judge)
    night = Night(cabin(spec))
    night.take(SourceFault("cell", "absent", "the cell is gone"))
    for _ in range(93):
        night.act("test", by="phone")
        night.hold({"o2_pct": 20.9}, 10.0)
    tests_s = [at for at, pattern in night.sounds() if pattern == "test"]
    assert len(tests_s) == 2
    assert tests_s[1] - tests_s[0] >= 600.0
    told = [(at, one.priority) for at, one in night.alerts() if one.alarm == "test"]
    assert told == [(at, Priority.LOW) for at in tests_s]


def test_a_late_answer_is_logged_with_its_age() -> None:
    """So that a replay decides as was decided."""
    night = play("20.9 19.4 19.4")
    night.take(Act(ActKind.ACKNOWLEDGE, by="phone", age_s=19.5), 10.0)
    assert night.records("act")[-1].fields["age_s"] == 19.5
    assert night.now_in() == "unacknowledged"


def test_unknown_alarms_and_series_are_passed_over() -> None:
    """An answer to an alarm of another cabin, a value of a series nobody named."""
    night = play("20.9")
    night.act("ack", "no-such-alarm")
    night.air({"co_ppm": 900.0, "nonsense": 1.0})
    assert night.transitions() == []


def test_time_never_runs_backwards() -> None:
    """An event with an older moment counts as of the last one."""
    setup = cabin(co_level(), keys=["co_ppm"])
    state = start(setup, 0.0)
    state, _ = step(state, Air({"co_ppm": 100.0}), 100.0)
    after, _ = step(state, Air({"co_ppm": 100.0}), 40.0)
    assert after.history.now == 100.0
    assert after.history.dose == state.history.dose


def dosed(events_between: int) -> float:
    night = Night(cabin(keys=["co_ppm"]))
    night.air({"co_ppm": 100.0}, 0.0)
    for _ in range(60):
        for _ in range(events_between):
            night.take(Act(ActKind.MARK, text="tick"), 60.0 / (events_between + 1))
        night.air({"co_ppm": 100.0}, 60.0 / (events_between + 1))
    return night.state.history.dose.cohb_pct


def test_acts_take_no_carbon_monoxide_away() -> None:
    """An hour at 100 ppm is an hour, however many acts and faults fall into it."""
    assert dosed(0) == pytest.approx(cohb_step(0.75, 100.0, 3600.0), rel=1e-9)
    assert dosed(3) == pytest.approx(dosed(0), rel=1e-9)


def test_the_worst_of_two_places_is_what_is_breathed() -> None:
    """Two CO parts: the dose follows the higher one."""
    night = Night(cabin(keys=["co_ppm", "co_ppm_ceiling"]))
    night.air({"co_ppm": 10.0, "co_ppm_ceiling": 200.0}, 0.0)
    night.air({"co_ppm": 10.0, "co_ppm_ceiling": 200.0}, 60.0)
    assert night.state.history.dose.cohb_pct == cohb_step(0.75, 200.0, 60.0)


def test_without_a_fresh_value_the_dose_stands_still() -> None:
    """Silence is no clean air."""
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 200.0}, 3600.0)
    night.hold({}, 60.0)
    dose = night.state.history.dose
    night.hold({}, 3600.0)
    assert night.state.history.dose == dose


def test_the_text_is_rendered_with_the_full_name() -> None:
    """An instance's sentence can name its subject."""
    names: list[str] = []

    def render(alarm: str, *_: object) -> str:
        names.append(alarm)
        return alarm

    setup = cabin(
        AlarmSpec("sensor-fault/cell", "source", source.Params("cell"), source.judge)
    )
    object.__setattr__(setup, "render", render)
    Night(setup).take(SourceFault("cell", "absent", "gone"))
    assert names == ["sensor-fault/cell"]


def judged(verdicts: dict[float, Verdict | None]) -> AlarmSpec:
    """An alarm whose verdicts are written down by the time of the step."""
    return AlarmSpec(
        "made", "made", None, lambda _p, _h, now: verdicts.get(now), on_delay_s=0.0
    )


def test_a_verdict_without_numbers_says_none_that_was_so() -> None:
    """In the dead-band, quiet time over: what is so, and no number of long ago."""
    high = Verdict(Priority.HIGH, facts={"value": 3.0})
    hold = Verdict(None, Priority.HIGH)
    verdicts: dict[float, Verdict | None] = {10.0: high, 400.0: hold}
    night = Night(cabin(judged(verdicts)))
    night.air({})
    night.act("ack")
    night.air({}, 390.0)
    said = ["made high  value=3", "made high  value=3", "made high"]
    assert [t.text.strip() for t in night.transitions()] == said


def test_a_rule_that_broke_is_told_as_that_whatever_it_watched() -> None:
    """Its own sentence would speak of air that nobody judged."""
    night = Night(cabin(judged({10.0: Verdict(Priority.MEDIUM, wording=BROKEN)})))
    night.air({})
    (said,) = night.transitions()
    assert (said.alarm, said.text) == ("made", "rule-broken medium broken")


def test_a_new_stand_without_numbers_is_told_as_it_is() -> None:
    """The sentence of an earlier, graver stand is not used again."""
    first = Verdict(Priority.HIGH, facts={"value": 3.0})
    verdicts: dict[float, Verdict | None] = {
        10.0: first,
        20.0: Verdict(None),
        30.0: Verdict(None),
        40.0: Verdict(Priority.LOW),
    }
    night = Night(cabin(judged(verdicts)))
    night.air({})
    night.air({})
    night.act("ack")
    night.air({})
    night.air({})
    assert night.transitions()[-1].text == "made low"


def test_an_alarm_that_rings_blind_without_a_sentence_gets_one() -> None:
    """Returned from the shelf with nothing known: its name and weight at least."""
    blind = Night(cabin(judged({5.0: Verdict(Priority.LOW)})))
    blind.act("shelve:15", "made")
    blind.air({}, 5.0)
    blind.air({}, 10.0)
    assert blind.transitions()[-1].text == "made low"


def test_nothing_changes_nothing_is_said() -> None:
    """A quiet tick is one line in the log and no other command."""
    night = play("20.9 20.9 20.9")
    assert all(isinstance(command, Record) for _, command in night.said)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 1e308, -1e308, -0.0])
def test_no_number_breaks_the_step(value: float) -> None:
    """What is no air is refused, and nothing stops."""
    night = play("20.9 20.9")
    night.air({"o2_pct": value})
    night.air({"o2_pct": value})
    json.dumps([c.fields for c in night.records("air")], default=dict, allow_nan=False)
    assert night.state.history.series["o2_pct"].value == 20.9
    assert [c for _, c in night.said if isinstance(c, Transition)] == []
