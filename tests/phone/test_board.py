"""What the page shows: the word, the number, what may be answered; never a comfort."""

from dataclasses import dataclass, field
from typing import Any

import pytest

from cabinvigil.daemon.outputs.mqtt.messages import PHONE_TEST
from cabinvigil.daemon.phone.answers import (
    MARKS_PER_HOUR,
    PER_HOUR,
    PER_STAND,
    AnswerGate,
    PagePress,
    RefusedPressError,
)
from cabinvigil.daemon.phone.board import RESTART_S, Board
from cabinvigil.daemon.phone.inbound import (
    AlarmHeard,
    BeatHeard,
    EstimatesHeard,
    Inbound,
    ReadingsHeard,
    TextHeard,
    TrialHeard,
)
from cabinvigil.daemon.phone.limits import usual_limits
from cabinvigil.daemon.phone.silence import SilenceWatch
from cabinvigil.daemon.text.units_said import US

RUNS = ("2026-01-16T21:00:00.000Z", "2026-01-16T23:00:00.000Z")
URGENCY = {"high": 5, "medium": 4, "fault": 3, "low": 2}


@dataclass
class Shown:
    """A board, its cabin, and the time."""

    now_s: float = 1000.0
    run: str = RUNS[0]
    seq: int = 0
    silence: SilenceWatch = field(default_factory=SilenceWatch)

    def __post_init__(self) -> None:
        self.silence.connected(True, 0.0)
        self.board = Board(self.silence, usual_limits(), "Here.")

    def next(self) -> int:
        self.seq += 1
        return self.seq

    def beat(
        self, cabin: str = "lapwing", bump_for_s: float = 0.0, bump_by: str = ""
    ) -> None:
        beat = BeatHeard(
            *(cabin, self.run, self.next(), self.now_s - 900.0, 30.0),
            bump_for_s=bump_for_s,
            bump_by=bump_by,
        )
        self.silence.heartbeat(beat, self.now_s, is_retained=False)
        self.board.alive(beat, self.now_s)
        self.silence.look(self.now_s)

    def pass_s(self, time_s: float) -> None:
        """Let time pass as this process does, which looks again and again."""
        until_s = self.now_s + time_s
        while self.now_s < until_s:
            self.now_s = min(until_s, self.now_s + 0.5)
            self.silence.look(self.now_s)

    def hear(self, heard: Inbound, *, retained: bool = False) -> None:
        self.board.hear(heard, self.now_s, is_retained=retained)

    def read(self, cabin: str = "lapwing", **values: float) -> None:
        given = {name: (value, 0.0, False) for name, value in values.items()}
        self.hear(ReadingsHeard(cabin, given))

    def alarm(
        self,
        priority: str,
        state: str = "unacknowledged",
        alarm: str = "o2-low",
        *,
        retained: bool = False,
    ) -> None:
        text = "Too little oxygen. Get everyone outside now."
        self.hear(
            AlarmHeard(
                *("lapwing", alarm, state, priority, URGENCY[priority], text),
                *("2026-01-16T22:00:00.000Z", self.run, self.next()),
            ),
            retained=retained,
        )

    def word(self) -> str:
        return self.board.word("lapwing", self.now_s)

    def view(self) -> Any:
        return self.board.view("lapwing", self.now_s)


@pytest.fixture
def shown() -> Shown:
    one = Shown()
    one.beat()
    one.read(o2_pct=20.6, co2_ppm=900.0, co_ppm=2.0)
    return one


@pytest.mark.parametrize(
    ("priority", "state", "word"),
    [
        ("high", "unacknowledged", "out"), ("high", "acknowledged", "out"),
        ("high", "latched-unacknowledged", "out"), ("medium", "unacknowledged", "wake"),
        ("medium", "acknowledged", "wake"), ("low", "unacknowledged", "look"),
        ("fault", "unacknowledged", "look"),
        ("high", "returned-unacknowledged", "look"),
        ("fault", "shelved", "look"), ("fault", "out-of-service", "look"),
        ("high", "normal", "safe"), ("medium", "suppressed", "safe"),
    ],
)  # fmt: skip
def test_each_state_has_its_word(
    shown: Shown, priority: str, state: str, word: str
) -> None:
    assert shown.word() == "safe"
    shown.alarm(priority, state)
    assert shown.word() == word


def test_without_a_fresh_gas_nobody_calls_it_safe(shown: Shown) -> None:
    for _ in range(3):
        shown.now_s += 29.0
        shown.beat()
    assert shown.word() == "not known"
    shown.read(temp_c=18.0)
    assert shown.word() == "not known"
    shown.read(co_ppm=2.0)
    assert shown.word() == "safe"


def test_what_the_broker_had_kept_is_no_reading_of_now(shown: Shown) -> None:
    other = Shown()
    other.beat()
    given = ReadingsHeard("lapwing", {"o2_pct": (20.9, 0.0, False)})
    other.hear(given, retained=True)
    assert other.word() == "not known"
    other.alarm("high", retained=True)
    assert other.word() == "out", "but a danger that it kept is shown"


def test_a_cabin_that_is_not_heard_is_silent_whatever_stood(shown: Shown) -> None:
    for priority in ("low", "high"):
        shown.alarm(priority, alarm=f"{priority}-one")
    shown.now_s += 94.0
    assert shown.word() == "silent"
    assert shown.view()["estimates"] is None
    never = Shown()
    never.silence.expect("lapwing", never.now_s)
    assert never.word() == "not known"
    never.now_s += 94.0
    assert never.word() == "silent"


def test_a_trial_is_said_but_hides_no_danger(shown: Shown) -> None:
    shown.hear(TrialHeard("lapwing", True, "floor vent", "23:30", RUNS[0]))
    assert shown.word() == "trial"
    shown.alarm("medium")
    assert shown.word() == "trial"
    shown.alarm("high", alarm="co-level")
    assert shown.word() == "out"
    shown.now_s += 94.0
    assert shown.word() == "silent"


@pytest.mark.hazard("silenced-by-test")
def test_a_trial_that_the_broker_kept_of_a_dead_watch_hides_nothing(
    shown: Shown,
) -> None:
    """Killed in it and begun anew without what was kept: nobody says that it ended."""
    shown.hear(TrialHeard("lapwing", True, "floor vent", "23:30", RUNS[0]))
    shown.run, shown.seq = RUNS[1], 0
    shown.beat()
    shown.alarm("medium")
    assert shown.word() == "wake"
    assert shown.view()["trial"] is None
    shown.hear(TrialHeard("lapwing", True, "roof vent", "23:50", RUNS[1]))
    assert shown.word() == "trial"


def test_the_number_that_decides_is_that_of_what_rings_else_the_nearest(
    shown: Shown,
) -> None:
    assert shown.view()["decides"] == "o2_pct", "20 % of the way to its limit"
    shown.read(o2_pct=20.8, co2_ppm=4000.0, co_ppm=2.0)
    assert shown.view()["decides"] == "co2_ppm"
    shown.alarm("medium", alarm="co-level")
    assert shown.view()["decides"] == "co_ppm"


def test_the_dew_point_is_worked_out(shown: Shown) -> None:
    shown.read(temp_c=20.0, rh_pct=50.0)
    (dew,) = [v for v in shown.view()["values"] if v["series"] == "dew_point_c"]
    assert dew["value"] == pytest.approx(9.3, abs=0.2)


def test_the_last_hour_is_kept_once_a_minute_and_no_longer(shown: Shown) -> None:
    for _ in range(1000):
        shown.now_s += 10.0
        shown.read(o2_pct=20.5)
    past = shown.board.past("lapwing", shown.now_s)["o2_pct"]
    assert 58 <= len(past) <= 61
    assert past[0][0] >= -60.0


def test_estimates_age(shown: Shown) -> None:
    shown.hear(EstimatesHeard("lapwing", {"air_changes_per_h": [1.0, 2.0, 3.0]}))
    assert shown.view()["estimates"]["air_changes_per_h"] == [1.0, 2.0, 3.0]
    for _ in range(6):
        shown.now_s += 29.0
        shown.beat()
    assert shown.view()["estimates"] is None


def test_what_a_former_run_left_is_dropped_once_the_new_one_has_spoken(
    shown: Shown,
) -> None:
    shown.alarm("high")
    shown.run, shown.seq = RUNS[1], 0
    shown.now_s += 40.0
    shown.beat()
    shown.read(o2_pct=20.6)
    assert shown.word() == "out", "it may be said anew"
    assert not shown.view()["stands"][0]["open"], "but nobody can answer it"
    shown.now_s += RESTART_S + 1.0
    shown.beat()
    assert shown.word() == "safe"


def test_the_list_has_the_gravest_first_and_the_oldest_silence() -> None:
    shown = Shown()
    for cabin in ("old", "new"):
        shown.beat(cabin)
        shown.pass_s(5.0)
    shown.pass_s(94.0)
    for cabin in ("safe", "lapwing"):
        shown.beat(cabin)
        shown.read(cabin, o2_pct=20.6)
    shown.alarm("high")
    rows = shown.board.rows(shown.now_s)
    assert [(row["cabin"], row["word"]) for row in rows] == [
        ("lapwing", "out"), ("old", "silent"), ("new", "silent"), ("safe", "safe"),
    ]  # fmt: skip


# --- answers ------------------------------------------------------------------------


def press(shown: Shown, **changes: Any) -> dict[str, Any]:
    stand = shown.view()["stands"][0]["stand"]
    body = {"cabin": "lapwing", "alarm": "o2-low", "stand": stand,
            "as_of_ms": shown.now_s * 1000.0}  # fmt: skip
    return body | changes


def test_a_press_names_its_stand_and_its_moment(shown: Shown) -> None:
    shown.alarm("high")
    gate = AnswerGate(shown.board)
    body = press(shown)
    assert gate.judge(body, shown.now_s + 4.0) == PagePress(
        "lapwing", "o2-low", body["stand"]
    )
    with pytest.raises(RefusedPressError, match="too old"):
        gate.judge(body, shown.now_s + 6.0)
    shown.alarm("high", "acknowledged")
    with pytest.raises(RefusedPressError, match="does not sound"):
        gate.judge(body, shown.now_s)
    shown.alarm("high")
    with pytest.raises(RefusedPressError, match="sounded again"):
        gate.judge(body, shown.now_s)


def test_an_alarm_that_got_worse_is_another_stand(shown: Shown) -> None:
    shown.alarm("medium")
    body = press(shown)
    shown.alarm("high")
    with pytest.raises(RefusedPressError, match="sounded again"):
        AnswerGate(shown.board).judge(body, shown.now_s)


def test_presses_are_bounded_over_all_devices(shown: Shown) -> None:
    shown.alarm("high")
    gate = AnswerGate(shown.board)
    for _ in range(PER_STAND):
        gate.judge(press(shown), shown.now_s)
    with pytest.raises(RefusedPressError, match="too often"):
        gate.judge(press(shown), shown.now_s)
    for _ in range(PER_HOUR - PER_STAND):
        shown.alarm("high", "acknowledged")
        shown.alarm("high")
        gate.judge(press(shown), shown.now_s)
    shown.alarm("high", "acknowledged")
    shown.alarm("high")
    with pytest.raises(RefusedPressError, match="too often"):
        gate.judge(press(shown), shown.now_s)


@pytest.mark.parametrize(
    "change",
    [{"stand": True}, {"stand": "1"}, {"as_of_ms": "x"}, {"as_of_ms": True},
     {"as_of_ms": -1.0}, {"as_of_ms": float("inf")}, {"as_of_ms": float("nan")},
     {"cabin": 7}, {"alarm": None}, {"alarm": "x" * 100}, {"ask": "reset"},
     {"cabin": "plover"}],
)  # fmt: skip
def test_what_is_no_press_is_refused(shown: Shown, change: dict[str, Any]) -> None:
    """Nothing but an answer is passed on, whatever else is asked."""
    shown.alarm("high")
    with pytest.raises(RefusedPressError):
        AnswerGate(shown.board).judge(press(shown, **change), shown.now_s)


@pytest.mark.parametrize("body", [None, [], "x", 7, {}, [{}]])
def test_any_json_is_refused_plainly(shown: Shown, body: Any) -> None:
    with pytest.raises(RefusedPressError):
        AnswerGate(shown.board).judge(body, shown.now_s)


def test_a_mark_is_passed_on_a_few_times_an_hour(shown: Shown) -> None:
    gate = AnswerGate(shown.board)
    for number in range(MARKS_PER_HOUR):
        body = {"cabin": "lapwing", "text": f" vent\x00 open  {number} cm "}
        mark = gate.judge_mark(body, shown.now_s + number)
        assert mark.text == f"vent open {number} cm"
    body = {"cabin": "lapwing", "text": ""}
    with pytest.raises(RefusedPressError, match="12 marks came from here"):
        gate.judge_mark(body, shown.now_s + 3000.0)
    assert gate.judge_mark(body, shown.now_s + 3602.0).text == ""


@pytest.mark.parametrize(
    "body",
    [None, [], {}, {"cabin": "lapwing"}, {"cabin": "lapwing", "text": 1},
     {"cabin": "lapwing", "text": "x" * 201}, {"cabin": "nowhere", "text": "x"},
     {"cabin": "x" * 100, "text": "x"}, {"cabin": "lapwing", "text": "", "at": 1}],
)  # fmt: skip
def test_what_is_no_mark_is_refused(shown: Shown, body: object) -> None:
    with pytest.raises(RefusedPressError):
        AnswerGate(shown.board).judge_mark(body, shown.now_s)


def test_the_test_before_bed_can_be_answered_for_a_minute(shown: Shown) -> None:
    """Each by its own stand; it makes no word graver."""
    heard = TextHeard("lapwing", False, "A test.", PHONE_TEST, 5, "id", 60.0)
    before = shown.board.word("lapwing", shown.now_s)
    for stand in (1, 2):
        shown.board.hear(heard, shown.now_s, is_retained=False)
        assert shown.board.stand_of("lapwing", PHONE_TEST, shown.now_s) == stand
    view = shown.board.view("lapwing", shown.now_s + 59.0)
    assert view is not None
    assert view["test"] == {"alarm": PHONE_TEST, "stand": 2, "text": "A test."}
    assert shown.word() == before
    assert shown.board.stand_of("lapwing", PHONE_TEST, shown.now_s + 61.0) is None
    later = shown.board.view("lapwing", shown.now_s + 61.0)
    assert later is not None
    assert later["test"] is None


def test_the_page_shows_the_units_of_its_config() -> None:
    """Value, past and unit; what both systems write alike stays, its limit too."""
    shown = Shown()
    shown.board = Board(shown.silence, usual_limits(), "Here.", US)
    shown.beat()
    shown.read(temp_c=20.0, rh_pct=50.0, o2_pct=20.5, temp_c_glass=-17.0)
    values = {one["series"]: one for one in shown.view()["values"]}
    told = {name: (one["value"], one["unit"]) for name, one in values.items()}
    assert told["temp_c"] == (68.0, "°F")
    assert told["temp_c_glass"] == (1.4, "°F")
    assert told["dew_point_c"] == (pytest.approx(48.7, abs=0.1), "°F")
    assert told["o2_pct"] == (20.5, "%")
    assert values["o2_pct"]["limit"] == 19.5
    past = shown.board.past("lapwing", shown.now_s)
    assert [value for _, value in past["temp_c"]] == [68.0]
