"""What the phone side is told: topics, payloads, ages; and what waits in the outbox."""

import json
from datetime import UTC, datetime, timedelta

import pytest

from cabinvigil.daemon.core.model import (
    AlarmState,
    Alert,
    Estimate,
    Priority,
    Record,
    Sound,
    Transition,
)
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.outputs.mqtt.messages import (
    OVER_EXPIRY_S,
    Messages,
    Pending,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.publisher import Publisher
from tests.inline_phone import InlinePhone

pytestmark = pytest.mark.made_up("orders messages by topics of its own")

START = datetime(2025, 1, 14, 21, 0, tzinfo=UTC)
MESSAGES = Messages(Topics("lapwing"), run_of(START), UTC)


def at(up_s: float) -> Stamp:
    return Stamp(up_s, START + timedelta(seconds=up_s))


def alert(text: str = "Too little oxygen: 19.4 %. Go out.", **kw: object) -> Alert:
    return Alert("o2-low", Priority.HIGH, text, **kw)  # type: ignore[arg-type]


def desk() -> Publisher:
    return Publisher(MESSAGES, heartbeat_s=30.0, readings_s=10.0)


def drain(some: Publisher, now: Stamp) -> list[Publication]:
    out = []
    while (taken := some.next(now)) is not None:
        out.append(taken[1])
    return out


# --- an alert's text ---------------------------------------------------------------


def test_a_fresh_alert_says_its_moment() -> None:
    """The moment stands in the text itself: a bridge may deliver it any time later."""
    said = MESSAGES.alert(Pending(alert(), 7, 60.0), at(61.0))
    assert said.topic == "cabinvigil/lapwing/alert"
    assert said.payload == b"Too little oxygen: 19.4 %. Go out. (21:01)"
    assert (said.qos, said.retain, said.expiry_s) == (1, False, 3599)
    assert dict(said.user)["at"] == "2025-01-14T21:01:00.000Z"
    assert dict(said.user)["expires"] == "2025-01-14T22:01:00.000Z"
    assert dict(said.user)["seq"] == "7", "for programs: nobody reads it aloud"


@pytest.mark.parametrize(
    ("age_s", "words"),
    [(29.0, "(21:01)"), (45.0, "45_s late)"), (720.0, "12_min late)"),
     (3_599.0, "60_min late)"), (7_200.0, "2.0_h late)")],
)  # fmt: skip
def test_a_late_alert_says_its_age(age_s: float, words: str) -> None:
    pending = Pending(alert(expiry_s=9e3), 7, 60.0)
    said = MESSAGES.alert(pending, at(60.0 + age_s))
    assert words.replace("_", "\u00a0") in said.payload.decode()
    assert "(21:01" in said.payload.decode()
    assert said.expiry_s == 9_000 - age_s


def test_the_moment_is_right_though_the_clock_was_set_meanwhile() -> None:
    """Decided while the clock showed 1970, sent after the network set it."""
    pending = Pending(alert(), 1, 100.0)
    now = Stamp(700.0, datetime(2025, 1, 15, 2, 10, tzinfo=UTC))
    said = MESSAGES.alert(pending, now).payload.decode()
    assert "02:00, 10\u00a0min late" in said


def test_escalation_two_goes_to_the_second_phone() -> None:
    for escalation, tail in ((0, "alert"), (1, "alert"), (2, "alert-second")):
        pending = Pending(alert(escalation=escalation), 1, 0.0)
        said = MESSAGES.alert(pending, at(0.0))
        assert said.topic == f"cabinvigil/lapwing/{tail}"


def test_texts_with_any_letters_go_out() -> None:
    pending = Pending(alert("Sauerstoff fällt \udc80"), 1, 0.0)
    assert MESSAGES.alert(pending, at(0.0)).payload.startswith(
        "Sauerstoff fällt".encode()
    )


# --- states ------------------------------------------------------------------------


def test_an_alarms_state_is_retained_json_with_moment_and_number() -> None:
    some = desk()
    change = Transition(
        "sensor-stale/bunk-o2", AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL,
        Priority.FAULT, "The oxygen cell is silent.", 40.0, first_up=True,
    )  # fmt: skip
    assert some.handle(change, at(100.0))
    (said,) = drain(some, at(100.0))
    assert said.topic == "cabinvigil/lapwing/alarm/sensor-stale/bunk-o2"
    assert (said.retain, said.qos) == (True, 1)
    assert json.loads(said.payload) == {
        "alarm": "sensor-stale/bunk-o2", "state": "unacknowledged", "was": "normal",
        "priority": "fault", "text": "The oxygen cell is silent.",
        "since": "2025-01-14T21:00:40.000Z", "first_up": True, "urgency": 3,
        "at": "2025-01-14T21:01:40.000Z", "up_s": 100.0, "seq": 1,
        "run": "2025-01-14T21:00:00.000Z",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("priority", "urgency"),
    [(Priority.HIGH, 5), (Priority.MEDIUM, 4), (Priority.FAULT, 3), (Priority.LOW, 2)],
)
def test_a_plain_number_tells_any_gateway_how_loud_to_be(
    priority: Priority, urgency: int
) -> None:
    """Push servers refuse words such as `fault`, but not a number from 1 to 5."""
    some = desk()
    for state in (AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL):
        change = Transition("co-level", state, AlarmState.NORMAL, priority, "CO.", 4.0)
        some.handle(change, at(5.0))
        (said,) = drain(some, at(5.0))
        is_over = state is AlarmState.NORMAL
        assert json.loads(said.payload)["urgency"] == (1 if is_over else urgency)
    said = MESSAGES.alert(Pending(Alert("co-level", priority, "CO."), 1, 0.0), at(0.0))
    assert dict(said.user)["urgency"] == str(urgency)


def test_the_all_clear_is_the_least_urgent() -> None:
    clear = Pending(Alert("all-clear", Priority.LOW, "All is well."), 1, 0.0)
    assert dict(MESSAGES.alert(clear, at(0.0)).user)["urgency"] == "1"


def test_readings_and_heartbeats_come_at_their_pace() -> None:
    """Readings every 10 s, a heartbeat every 30 s, each naming when the next comes."""
    some = desk()
    said = []
    for second in range(120):
        some.handle(Record("air", {"o2_pct": 20.5, "at_least": []}), at(second))
        said += [(second, p) for p in drain(some, at(second))]
    beats = [s for s, p in said if p.topic.endswith("heartbeat")]
    readings = [s for s, p in said if p.topic.endswith("readings")]
    assert beats == [0, 30, 60, 90]
    assert readings == list(range(0, 120, 10))
    beat = json.loads(next(p for _, p in said if p.topic.endswith("heartbeat")).payload)
    assert beat["period_s"] == 30.0
    assert beat["next_at"] == "2025-01-14T21:00:30.000Z"


def test_a_test_of_the_parts_is_said_with_each_heartbeat_at_once() -> None:
    """The page shows a test as that: as it begins, meanwhile, and as it ends."""
    some = desk()
    said = []
    for second in range(100):
        some.handle(Record("air", {"o2_pct": 20.5}), at(second))
        if second == 40:
            fields = {"state": "begun", "for_s": 300.0, "by": "breath"}
            some.handle(Record("bump-test", fields), at(second))
        if second == 80:
            some.handle(Record("bump-test", {"state": "ended"}), at(second))
        said += [(second, p) for p in drain(some, at(second))]
    beats = [(s, json.loads(p.payload)) for s, p in said if "heartbeat" in p.topic]
    told = [(s, one.get("bump_for_s"), one.get("bump_by")) for s, one in beats]
    assert told == [
        *((0, None, None), (30, None, None)),
        *((40, 300.0, "breath"), (70, 270.0, "breath"), (80, None, None)),
    ]


@pytest.mark.parametrize(
    ("fields", "unknown"),
    [
        ({"o2_pct": 20.5, "co_ppm": 1.0}, None),
        ({"o2_pct": 20.5, "co_ppm": 1.0, "doubtful": ["o2_pct"]}, ["o2_pct"]),
        ({"o2_pct": 20.5, "o2_pct__b": 20.4, "doubtful": ["o2_pct"]}, ["co_ppm"]),
        ({"o2_pct_outside": 20.9, "co_ppm": 1.0}, ["o2_pct"]),
        ({"temp_c": 12.0}, ["co_ppm", "o2_pct"]),
    ],
)
def test_a_heartbeat_says_what_protects_life_and_is_not_known(
    fields: dict[str, object], unknown: list[str] | None
) -> None:
    """Warming up, doubtful, silent, or outdoors: its number vouches for nobody."""
    some = desk()
    some.handle(Record("air", fields), at(0.0))
    (beat,) = [p for p in drain(some, at(0.0)) if "heartbeat" in p.topic]
    assert json.loads(beat.payload).get("unknown") == unknown


def test_no_heartbeat_from_a_watch_that_no_longer_steps() -> None:
    """The network thread alone is no sign of life: a hung core falls silent."""
    some = desk()
    for second in range(10):
        some.handle(Record("air", {"o2_pct": 20.5}), at(second))
    drain(some, at(10))
    said = []
    for second in range(10, 400):
        some.tick(at(second))
        said += [(second, p.topic.rsplit("/")[-1]) for p in drain(some, at(second))]
    assert max(s for s, tail in said if tail == "heartbeat") <= 9 + 65
    some.handle(Record("air", {"o2_pct": 20.5}), at(400))
    assert "heartbeat" in str([p.topic for p in drain(some, at(400))])


def test_stale_readings_are_left_out() -> None:
    """A value that no longer comes leaves the pack: old air is no reading."""
    some = desk()
    some.handle(Record("air", {"o2_pct": 20.5, "co_ppm": 1.0}), at(0))
    drain(some, at(0))
    for second in range(0, 200, 10):
        some.handle(Record("air", {"o2_pct": 20.4}), at(second))
    last = {p.topic.rsplit("/")[-1]: p for p in drain(some, at(200))}["readings"]
    assert [r["n"] for r in json.loads(last.payload)] == ["o2_pct"]
    for second in range(190, 320, 10):
        some.tick(at(second))
    drain(some, at(320))
    for second in range(320, 600, 10):
        some.tick(at(second))
        assert drain(some, at(second)) == [], "no pack of nothing, and no heartbeat"


def test_estimates_and_the_morning_are_retained() -> None:
    some = desk()
    some.handle(Estimate({"o2_settles_pct": [20.1, 20.3, 20.4]}), at(60))
    some.morning({"lowest_o2_pct": 20.1}, at(61))
    said = {p.topic.rsplit("/")[-1]: p for p in drain(some, at(61))}
    assert json.loads(said["estimates"].payload)["o2_settles_pct"] == [20.1, 20.3, 20.4]
    assert said["morning"].retain


def test_what_is_not_for_the_phone_is_left() -> None:
    some = desk()
    assert not some.handle(Sound("chirp"), at(0))
    assert not some.handle(Record("mark", {"text": "x"}), at(0))
    some.handle(Record("air", {"mood": 1.0}), at(0))
    assert [p.topic for p in drain(some, at(0))] == ["cabinvigil/lapwing/heartbeat"]


def test_a_number_json_does_not_know_becomes_null() -> None:
    some = desk()
    some.handle(Estimate({"x": float("nan")}), at(0))
    assert json.loads(drain(some, at(0))[0].payload)["x"] is None


def test_an_alarm_that_is_over_is_kept_for_a_day_and_a_standing_one_for_good() -> None:
    some = desk()
    for after, before in (
        (AlarmState.UNACKNOWLEDGED, AlarmState.NORMAL),
        (AlarmState.NORMAL, AlarmState.UNACKNOWLEDGED),
    ):
        change = Transition("o2-low", after, before, Priority.HIGH, "Low.", 0.0)
        some.handle(change, at(0))
        (said,) = drain(some, at(0))
        is_over = after is AlarmState.NORMAL
        assert said.expiry_s == (OVER_EXPIRY_S if is_over else None)


def test_watching_is_believed_for_three_heartbeats_and_said_with_each() -> None:
    """So `watching` of a watch that died while nobody could say so goes by itself."""
    some = desk()
    some.connected(at(0))
    said = drain(some, at(0))
    assert [(p.payload, p.expiry_s) for p in said] == [(b"watching", 90)]
    for second in (30.0, 60.0):
        some.handle(Record("air", {"o2_pct": 20.5}), at(second))
        tails = [p.topic.rpartition("/")[2] for p in drain(some, at(second))]
        assert {"heartbeat", "presence"} <= set(tails)
    some.stopping(at(60))
    assert [(p.payload, p.expiry_s) for p in drain(some, at(60))] == [
        (b"stopped", None)
    ]
    some.handle(Record("air", {"o2_pct": 20.5}), at(90))
    assert not [p for p in drain(some, at(90)) if p.topic.endswith("presence")]


# --- topics --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("topic", "fits"),
    [
        ("cabinvigil/lapwing/answer", True),
        ("cabinvigil/lapwing/answer/phone-7", True),
        ("cabinvigil/lapwing/answers", False),
        ("cabinvigil/lapwing/alert", False),
        ("cabinvigil/other/answer", False),
        ("cabinvigil/lapwing/answer/#", False),
        ("cabinvigil/lapwing/answer/+/x", False),
        ("cabinvigil/lapwing/answer/\0", False),
        ("cabinvigil/lapwing/answer/" + "x" * 200, False),
        ("", False),
    ],
)
def test_answers_go_only_where_answers_belong(topic: str, fits: bool) -> None:
    """A response topic cannot make us write an alert or another cabin's state."""
    assert Topics("lapwing").is_answer(topic) is fits


def test_inline_every_message_comes_at_once() -> None:
    got: list[tuple[str, float]] = []
    phone = InlinePhone(desk(), lambda p, s: got.append((p.topic, s.up_s)))
    phone.start()
    phone.handle(Record("air", {"o2_pct": 20.5}), at(1))
    phone.handle(alert(), at(2))
    phone.handle(Sound("chirp"), at(3))
    phone.morning({}, at(4))
    phone.stop(1.0)
    assert [(t.rsplit("/")[-1], s) for t, s in got] == [
        ("presence", 1), ("heartbeat", 1), ("readings", 1), ("alert", 2),
        ("morning", 4),
    ]  # fmt: skip
