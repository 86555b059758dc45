"""What the phone side is told: topics, payloads, ages; and what waits in the outbox."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

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
    Messages,
    Pending,
    Publication,
    Topics,
    run_of,
)
from cabinvigil.daemon.outputs.mqtt.outbox import (
    ALERTS_KEPT,
    IN_FLIGHT,
    STATES_KEPT,
    Outbox,
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
        "since": "2025-01-14T21:00:40.000Z", "first_up": True,
        "at": "2025-01-14T21:01:40.000Z", "up_s": 100.0, "seq": 1,
        "run": "2025-01-14T21:00:00.000Z",
    }  # fmt: skip


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


# --- the outbox ----------------------------------------------------------------------


def pending(seq: int, up_s: float = 0.0, expiry_s: float = 3_600.0) -> Pending:
    return Pending(alert(f"no {seq}", expiry_s=expiry_s), seq, up_s)


def state(topic: str, body: str = "x") -> Publication:
    return Publication(topic, body.encode(), retain=True)


def take(box: Outbox, now_s: float = 0.0) -> str | None:
    taken = box.next_due(MESSAGES, at(now_s))
    return None if taken is None else taken[1].payload.decode()


def test_alerts_go_before_answers_and_states() -> None:
    box = Outbox()
    box.put_state(state("a"))
    box.put_answer(Publication("b", b"answer"))
    box.put_alert(pending(1))
    got = [take(box), take(box), take(box), take(box)]
    assert got == ["no 1 (21:00)", "answer", "x", None]


def test_a_state_waits_once_in_its_newest_form() -> None:
    box = Outbox()
    for number in range(1_000):
        box.put_state(state("readings", str(number)))
    assert [take(box), take(box)] == ["999", None]


def test_alerts_are_bounded_and_the_loss_is_counted() -> None:
    box = Outbox()
    for seq in range(ALERTS_KEPT + 10):
        box.put_alert(pending(seq))
    assert box.lost.alerts == 10
    assert box.alerts_waiting == ALERTS_KEPT
    assert (take(box) or "").startswith("no 10 ")


def test_expired_alerts_are_not_sent() -> None:
    """A warning of two hours ago is no news, and would wake someone for nothing."""
    box = Outbox()
    box.put_alert(pending(1, 0.0, 60.0))
    box.put_alert(pending(2, 0.0, 600.0))
    assert (take(box, 300.0) or "").startswith("no 2 ")
    assert box.lost.expired == 1


def test_what_was_not_acknowledged_goes_again_in_order() -> None:
    """Cut in the middle: nothing lost, nothing out of order, states once more."""
    box = Outbox()
    for seq in range(5):
        box.put_alert(pending(seq))
    box.put_state(state("alarm", "old"))
    for number in range(3):
        taken = box.next_due(MESSAGES, at(0))
        assert taken is not None
        box.sent(100 - number, taken[0])
    box.acknowledged(100)
    assert box.acknowledged(12345) is None
    box.connection_lost()
    box.put_state(state("alarm", "new"))
    box.connected()
    got = [take(box) for _ in range(6)]
    assert [(g or "")[:4] for g in got] == ["no 1", "no 2", "no 3", "no 4", "new", ""]


def test_all_states_go_again_after_every_new_connection() -> None:
    """A broker may have lost them: its acknowledgement is no proof (as tried)."""
    box = Outbox()
    box.put_state(state("a", "1"))
    box.put_state(state("b", "2"))
    assert [take(box), take(box), take(box)] == ["1", "2", None]
    box.connected()
    assert [take(box), take(box), take(box)] == ["1", "2", None]


def test_so_many_may_fly_and_no_more() -> None:
    box = Outbox()
    for seq in range(IN_FLIGHT + 5):
        box.put_alert(pending(seq))
        taken = box.next_due(MESSAGES, at(0))
        if taken is not None:
            box.sent(seq, taken[0])
    assert box.in_flight == IN_FLIGHT
    assert not box.has_more
    box.acknowledged(0)
    assert box.has_more


def test_topics_are_bounded() -> None:
    box = Outbox()
    for number in range(STATES_KEPT + 50):
        box.put_state(state(str(number)))
    assert sum(take(box) is not None for _ in range(STATES_KEPT + 50)) == STATES_KEPT


@settings(max_examples=80)
@given(st.lists(st.sampled_from("pstac"), max_size=80))
def test_no_alert_is_lost_or_reordered_whatever_happens(steps: list[str]) -> None:
    """Random puts, sends, acks and cuts: what the broker acked is each alert once
    more or in order, and none is missing once all has been sent."""
    box, seq, message_id = Outbox(), 0, 0
    acked: list[int] = []
    flying: list[int] = []
    for step in steps + ["c"] + ["s", "a"] * 100:
        if step == "p":
            box.put_alert(pending(seq))
            seq += 1
        elif step == "s" and (taken := box.next_due(MESSAGES, at(0))) is not None:
            message_id += 1
            box.sent(message_id, taken[0])
            flying.append(message_id)
        elif step == "a" and flying:
            item = box.acknowledged(flying.pop(0))
            if isinstance(item, Pending):
                acked.append(item.seq)
        elif step == "c":
            box.connection_lost()
            flying.clear()
    assert acked == list(range(seq))


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
