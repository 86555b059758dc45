"""A test of the parts on the page: a trial, and no alarm of another part is hidden."""

import pytest

from cabinvigil.daemon.phone.inbound import BeatHeard
from tests.phone.test_board import RUNS, Shown


@pytest.fixture
def shown() -> Shown:
    one = Shown()
    one.beat()
    one.read(o2_pct=20.5)
    return one


def test_a_test_of_the_parts_is_a_trial(shown: Shown) -> None:
    shown.beat(bump_for_s=300.0, bump_by="breath")
    assert shown.word() == "trial"
    shown.alarm("high", alarm="o2-low")
    shown.alarm("medium", alarm="co2-level")
    shown.alarm("low", alarm="sensors-disagree/o2")
    shown.beat(bump_for_s=270.0, bump_by="breath")
    assert shown.word() == "trial"
    view = shown.view()
    assert view["part_test"] == "breath"
    assert [one["of_test"] for one in view["stands"]] == [True] * 3
    assert shown.board.rows(shown.now_s)[0]["text"] == ""
    shown.beat()
    assert shown.word() == "out", "what stands after it is a danger"
    assert shown.view()["part_test"] is None
    assert not shown.view()["stands"][0]["of_test"]


@pytest.mark.parametrize(
    ("by", "alarm", "priority", "word"),
    [
        ("breath", "co-level", "high", "out"),
        ("breath", "co-level", "medium", "wake"),
        ("breath", "gas-level", "high", "out"),
        ("gas", "o2-low", "high", "out"),
        ("", "o2-low", "high", "out"),
        ("gas", "co-level", "high", "trial"),
    ],
)
def test_a_test_of_the_parts_hides_no_alarm_of_another(
    shown: Shown, by: str, alarm: str, priority: str, word: str
) -> None:
    shown.beat(bump_for_s=300.0, bump_by=by)
    shown.alarm("high", alarm="o2-low" if by == "breath" else "co-level")
    shown.alarm(priority, alarm=alarm)
    assert shown.word() == (word if by else "out")
    assert shown.view()["stands"][0]["alarm"] == alarm if by else True


def test_what_rang_before_a_test_is_none_of_it_nor_what_outlasts_it(
    shown: Shown,
) -> None:
    shown.alarm("high", alarm="o2-low")
    shown.beat(bump_for_s=300.0, bump_by="breath")
    assert shown.word() == "out"
    shown.alarm("high", "normal", alarm="o2-low")
    assert shown.word() == "trial"
    shown.alarm("high", alarm="co2-level")
    assert shown.word() == "trial"
    for _ in range(10):  # its end is not heard: nothing more of it
        shown.pass_s(30.0)
        beat = BeatHeard("lapwing", shown.run, shown.next(), shown.now_s - 900.0, 30.0)
        shown.silence.heartbeat(beat, shown.now_s, is_retained=False)
    assert shown.word() == "out"


def test_a_restarted_watch_has_no_test(shown: Shown) -> None:
    shown.beat(bump_for_s=300.0, bump_by="breath")
    shown.run = RUNS[1]
    shown.alarm("high", alarm="o2-low")
    assert shown.word() == "out"
