"""One voice: the gravest first, few texts, told again until somebody answers."""

import json
from dataclasses import replace
from itertools import pairwise

import attrs
import pytest

from cabinvigil.daemon.core.mention import several, what
from cabinvigil.daemon.core.model import (
    Alert,
    Priority,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.notification import EXPIRY_S, OVER_WAIT_S
from cabinvigil.daemon.core.setup import AlarmSpec
from cabinvigil.daemon.core.snapshot import restore, resume, to_plain
from cabinvigil.daemon.rules import level, source
from tests.core.scenario import Night, cabin, co_level, ladder, o2_low

P = Priority
GOOD = {"o2_pct": 20.9, "co_ppm": 0.0, "co2_ppm": 800.0, "temp_c": 12.0}
BAD = GOOD | {"o2_pct": 19.0}
QUARTER_S = 900.0


def fault(part: str = "the-cell") -> AlarmSpec:
    """The alarm of a part that its driver says has failed."""
    params = source.Params(part)
    return AlarmSpec(
        f"sensor-fault/{part}", "source", params, source.judge,
        ack_s=28_800.0, removable=True, about_air=False, gravest=P.FAULT,
    )  # fmt: skip


def night() -> Night:
    cold = ladder("cold", "temp_c", (30.0, "low"), gravest=P.LOW)
    stale = ladder("co2-level", "co2_ppm", (10_000.0, "medium"), off_delay_s=60.0)
    alarms = (o2_low(), co_level(), stale, cold, fault())
    return Night(cabin(*alarms, keys=tuple(GOOD)))


def night_of_a_cell() -> Night:
    """An alarm that wakes people hangs on the cell."""
    lost = replace(
        ladder("lost", "co2_ppm", (5_000.0, "medium")),
        suppressed_by=("sensor-fault/the-cell",),
    )
    return Night(cabin(lost, fault(), keys=tuple(GOOD)))


def texts(
    some: Night, escalations: tuple[int, ...] = (0, 1)
) -> list[tuple[float, Alert]]:
    return [(at, one) for at, one in some.alerts() if one.escalation in escalations]


def second(some: Night) -> list[tuple[float, Alert]]:
    return texts(some, (2,))


@pytest.mark.hazard("flooding")
def test_a_danger_that_waits_for_room_is_no_news_for_waiting() -> None:
    """Told within the ten minutes before it is back, it waits, however long it does."""
    one = night()
    one.hold(GOOD | {"co_ppm": 210.0}, 20.0)
    one.act("ack")
    one.hold(GOOD, 180.0)
    for _ in range(2):
        one.hold(GOOD | {"co2_ppm": 12_000.0}, 20.0)
        one.act("ack")
        one.hold(GOOD, 100.0)
    told = texts(one)
    assert len(told) == 3
    one.hold(GOOD, told[0][0] + 580.0 - one.now)
    both = BAD | {"co_ppm": 210.0}
    one.hold(both, told[1][0] + 590.0 - one.now)
    news = [alert.alarm for _, alert in texts(one)[len(told) :]]
    assert news == ["o2-low"], "three texts in ten minutes"


@pytest.mark.hazard("nobody-answers")
def test_a_danger_that_nobody_answers_is_told_until_somebody_does() -> None:
    """To both phones at least every quarter of an hour, all night; then no more."""
    some = night()
    some.hold(BAD, 8 * 3600.0, 30.0)
    for told in (texts(some), second(some)):
        assert all(one.priority is P.HIGH for _, one in told)
        times_s = [at for at, _ in told]
        assert all(b - a <= QUARTER_S for a, b in pairwise(times_s))
        assert some.now - times_s[-1] <= QUARTER_S
    some.act("ack")
    count = len(texts(some))
    some.hold(BAD, 280.0)
    assert len(texts(some)) == count


@pytest.mark.hazard("lesser-over-graver")
def test_nothing_softer_follows_a_danger() -> None:
    """Cold, a dead part, stale air: while the danger is open they wait."""
    some = night()
    some.hold(BAD, 60.0)
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(BAD | {"co2_ppm": 12_000.0, "temp_c": 35.0}, 3600.0)
    assert {one.alarm for _, one in some.alerts()} == {"o2-low"}


@pytest.mark.hazard("lesser-over-graver")
def test_what_waited_is_one_line_when_the_danger_is_over() -> None:
    """What still wakes people is told as itself, the rest in one text."""
    some = night()
    some.hold(BAD, 60.0)
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(BAD | {"temp_c": 35.0}, 120.0)
    some.act("ack", "o2-low")
    some.hold(GOOD, 1200.0)
    rest = [one for _, one in texts(some) if one.alarm not in ("o2-low", "all-clear")]
    assert [one.alarm for one in rest] == ["missed"]
    assert "sensor-fault/the-cell fault" in rest[0].text
    assert "cold low" in rest[0].text


@pytest.mark.hazard("lesser-over-graver")
def test_a_rise_to_danger_is_told_at_once_whatever_was_told_before() -> None:
    """Two light texts a minute, and a third waits: that place is for what wakes."""
    some = night()
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(GOOD | {"temp_c": 35.0}, 20.0)
    some.hold(GOOD | {"temp_c": 35.0, "co_ppm": 40.0}, 20.0)
    assert len(texts(some)) == 2
    some.hold(GOOD | {"temp_c": 35.0, "co_ppm": 75.0}, 20.0)
    assert [one.priority for _, one in texts(some)][2:] == [P.MEDIUM]
    some.air(GOOD | {"temp_c": 35.0, "co_ppm": 210.0})
    assert texts(some)[-1][1].priority is P.HIGH
    some.hold(GOOD | {"co_ppm": 210.0, "o2_pct": 19.0}, 20.0)
    assert texts(some)[-1][1].alarm == "o2-low", "so is another danger"


@pytest.mark.hazard("flooding")
def test_at_most_three_texts_in_ten_minutes_but_for_a_rise() -> None:
    """Whatever comes and goes, answered or not."""
    some = night()
    for minute in range(120):
        some.hold(GOOD | {"co_ppm": 80.0 if minute % 2 else 0.0}, 70.0)
        some.take(
            SourceFault("the-cell", "absent", "gone")
            if minute % 3
            else SourceOk("the-cell")
        )
        if minute % 5 == 0:
            some.act("ack")
    times_s = [at for at, _ in texts(some)]
    assert max(sum(t <= at < t + 600.0 for at in times_s) for t in times_s) <= 3


@pytest.mark.hazard("nobody-answers")
def test_once_the_second_phone_knows_it_hears_what_gets_worse() -> None:
    """19.0 %, nobody answers; at 17.9 % both are told that it is worse."""
    some = night()
    some.hold(BAD, 400.0)
    assert [one.escalation for _, one in second(some)] == [2]
    some.hold(GOOD | {"o2_pct": 17.9}, 30.0)
    assert "17.9" in texts(some)[-1][1].text
    assert "17.9" in second(some)[-1][1].text


@pytest.mark.hazard("silenced-by-restart")
def test_a_restart_goes_on_at_that_stage() -> None:
    """Killed once the second phone was told: both are told again, and of a rise."""
    some = night()
    some.hold(BAD, 400.0)
    state, _ = restore(some.setup, to_plain(some.state), 1000.0, down_s=5.0)
    assert not [one for one in resume(state, 1000.0) if isinstance(one, Alert)]
    new = Night(some.setup, now=1000.0)
    new.state = state
    new.hold(BAD, 600.0)
    assert {one.escalation for _, one in new.alerts()} == {0, 2}
    new.said.clear()
    new.hold(GOOD | {"o2_pct": 17.9}, 20.0)
    assert {one.escalation for _, one in new.alerts()} == {0, 2}


@pytest.mark.hazard("silenced-by-button")
def test_an_answer_in_its_sleep_does_not_keep_the_second_phone_out() -> None:
    """Answered within half a minute each time: after a quarter hour it is told."""
    some = night()
    while some.now < 1500.0:
        some.hold(BAD, 30.0)
        some.act("ack")
    assert second(some), "the second phone learns of it"
    assert second(some)[0][0] <= 900.0 + 330.0


@pytest.mark.hazard("silenced-by-phone")
def test_a_phone_answers_a_stand_once() -> None:
    """Each minute an answer by phone: the second time it sounds until the button."""
    some = night()
    sounding_s = 0.0
    while some.now < 3600.0:
        some.hold(BAD, 60.0)
        sounding_s += 60.0 if some.state.sound.pattern == "temporal-four" else 0.0
        some.act("ack", by="phone")
    assert sounding_s >= 3600.0 - 300.0 - 120.0
    assert second(some)[0][0] <= 700.0, "nor does it reset the second phone's turn"
    some.act("ack")
    assert some.state.sound.pattern == "quiet"


@pytest.mark.hazard("nobody-answers")
def test_a_danger_that_has_passed_is_told_as_that() -> None:
    """As grave and as often as before, without a number that is true no more."""
    some = night()
    some.hold(BAD, 60.0)
    some.hold(GOOD, 3600.0)
    later = [one for at, one in some.alerts() if at > 200.0 and one.escalation < 2]
    assert len(later) >= 3
    assert {one.priority for one in later} == {Priority.HIGH}
    assert all(one.text.startswith("better high") for one in later)
    some.act("ack")
    some.hold(GOOD, 1200.0)
    last = [one for at, one in some.alerts() if at > 3800.0]
    assert {one.alarm for one in last} <= {"all-clear"}


@pytest.mark.hazard("flooding")
def test_two_alarms_on_one_gas_are_one_text() -> None:
    """Of equal weight, within ten minutes: the second says nothing new."""
    twin = ladder("co2-twin", "co2_ppm", (10_500.0, "medium"))
    some = Night(cabin(*night().setup.alarms, twin, keys=tuple(GOOD)))
    some.hold(GOOD | {"co2_ppm": 12_000.0}, 60.0)
    assert len(texts(some)) == 1


@pytest.mark.hazard("lesser-over-graver")
def test_a_forecast_that_has_come_true_is_told_no_more() -> None:
    """Oxygen is at its limit: nobody is told that it soon will be."""
    soon = ladder("o2-projected", "co2_ppm", (5_000.0, "high"))
    params = attrs.evolve(soon.params, quantity="o2_pct", side="below", steps=[
        level.LevelStep(19.8, "high")])  # fmt: skip
    soon = replace(soon, kind="projection", params=params)
    some = Night(cabin(soon, *night().setup.alarms, keys=tuple(GOOD)))
    some.hold(GOOD | {"o2_pct": 19.7}, 30.0)
    assert {one.alarm for _, one in some.alerts()} == {"o2-projected"}
    some.hold(BAD, 3600.0, 30.0)
    told = [one.alarm for at, one in some.alerts() if at > 60.0]
    assert set(told) == {"o2-low"}


def test_that_a_fault_is_over_is_told_where_its_begin_was() -> None:
    """Whoever was told that a part is dead learns that it is back."""
    some = night()
    some.hold(GOOD, 20.0)
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(GOOD, 90.0)
    some.take(SourceOk("the-cell"))
    some.hold(GOOD, 1000.0, 30.0)
    assert [one.alarm for _, one in texts(some)] == ["sensor-fault/the-cell", "ended"]


def test_the_second_phone_learns_the_end_too_where_it_has_to_wait() -> None:
    """Called about a part that nobody saw to, it is told when that is over.

    Other texts have taken the room of these ten minutes, so that the line waits.
    """
    lost = replace(ladder("lost", "co2_ppm", (10_000.0, "medium")), about_air=False)
    some = Night(cabin(lost, *(fault(one) for one in "ab"), keys=tuple(GOOD)))
    some.hold(GOOD, 20.0)
    some.hold(GOOD | {"co2_ppm": 12_000.0}, 340.0)
    assert [one.alarm for _, one in second(some)] == ["lost"]
    some.hold(GOOD, 1200.0)
    assert [one.alarm for _, one in texts(some)][-1] == "ended"
    assert [one.alarm for _, one in second(some)] == ["lost", "ended"]
    begun = len(second(some))
    some.hold(GOOD | {"co2_ppm": 12_000.0}, 60.0)
    assert len(second(some)) == begun


def test_a_fault_that_is_soon_over_is_one_line() -> None:
    """A vital part that stumbles for half a minute is not worth a begin and an end."""
    some = night_of_a_cell()
    some.hold(GOOD, 20.0)
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(GOOD, 30.0)
    assert texts(some) == []
    some.take(SourceOk("the-cell"))
    some.hold(GOOD, 2000.0, 30.0)
    assert [one.alarm for _, one in texts(some)] == ["missed"]


def test_ends_that_are_near_each_other_are_one_line() -> None:
    some = Night(cabin(fault("a"), fault("b"), keys=tuple(GOOD)))
    for name in ("a", "b"):
        some.take(SourceFault(name, "absent", f"{name} is gone"))
        some.hold(GOOD, 620.0, 20.0)
    for name in ("a", "b"):
        some.take(SourceOk(name))
        some.hold(GOOD, 600.0, 20.0)
    plain = json.loads(json.dumps(to_plain(some.state)))
    some.state, _ = restore(some.setup, plain, some.now, down_s=30.0)
    some.hold(GOOD, 600.0, 20.0)
    ended = [(at, one) for at, one in texts(some) if one.alarm == "ended"]
    assert len(ended) == 1
    at, line = ended[0]
    assert at == pytest.approx(1240.0 + OVER_WAIT_S, abs=60.0)
    assert "/a" in line.text
    assert "/b" in line.text


def test_the_cause_of_what_woke_people_is_not_told_beside_it() -> None:
    """Nothing measures oxygen, from this part: that its plug is out says the same."""
    some = night_of_a_cell()
    some.hold(GOOD, 20.0)
    some.take(SourceFault("the-cell", "absent", "the cell is gone"))
    some.hold(GOOD, 30.0)
    some.hold(GOOD | {"co2_ppm": 6_000.0}, 1800.0, 10.0)
    assert {one.alarm for _, one in texts(some)} == {"lost"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["Cold"], "Cold"),
        (list("abcd"), "a; b; c; d"),
        (list("abcdefg"), "a; b; c; d; +3"),
        (["x" * 60, "y" * 60, "z"], f"{'x' * 60}; +2"),
        (["x" * 200, "y"], f"{'x' * 109}…"),
    ],
)
def test_several_are_named_as_far_as_a_line_has_room(
    words: list[str], said: str
) -> None:
    """Of the rest the number: a sentence that does not fit names none."""
    assert several(words) == said


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Too little oxygen: 19.5 %. Go out.", "Too little oxygen"),
        ("Gaz toxique\u00a0: 70 ppm. Sortez.", "Gaz toxique"),
        ("Gas leak. Get out: no flames.", "Gas leak"),
        ("The cell is gone.", "The cell is gone"),
        ("", ""),
    ],
)
def test_what_is_so_without_its_number_and_its_act(text: str, said: str) -> None:
    """For a line that names several."""
    assert what(text) == said


def test_a_danger_is_worth_telling_for_longer() -> None:
    """An undelivered text expires, the graver the later."""
    assert EXPIRY_S[P.HIGH] > EXPIRY_S[P.MEDIUM] > EXPIRY_S[P.LOW]
