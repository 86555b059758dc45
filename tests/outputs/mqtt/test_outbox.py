"""What waits in the outbox: alerts in order, states in their newest form, bounds."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.outputs.mqtt.messages import Pending, Publication
from cabinvigil.daemon.outputs.mqtt.outbox import (
    ALERTS_KEPT,
    IN_FLIGHT,
    STATES_KEPT,
    Outbox,
)
from tests.outputs.mqtt.test_messages import MESSAGES, alert, at

pytestmark = pytest.mark.made_up("orders messages by topics of its own")


def pending(seq: int, up_s: float = 0.0, expiry_s: float = 3_600.0) -> Pending:
    return Pending(alert(f"no {seq}", expiry_s=expiry_s), seq, up_s)


def state(topic: str, body: str = "x") -> Publication:
    return Publication(topic, body.encode(), retain=True)


def take(box: Outbox, now_s: float = 0.0) -> str | None:
    taken = box.next_due(MESSAGES, at(now_s))
    return None if taken is None else taken[1].payload.decode()


def test_alerts_go_before_answers_and_states() -> None:
    box = Outbox()
    box.put_state(state("a"), 0.0)
    box.put_answer(Publication("b", b"answer"))
    box.put_alert(pending(1))
    got = [take(box), take(box), take(box), take(box)]
    assert got == ["no 1 (21:00)", "answer", "x", None]


def test_a_state_waits_once_in_its_newest_form() -> None:
    box = Outbox()
    for number in range(1_000):
        box.put_state(state("readings", str(number)), 0.0)
    assert [take(box), take(box)] == ["999", None]


def test_what_is_not_retained_goes_once_and_never_again() -> None:
    """A heartbeat that is said again would be taken for one of now."""
    box = Outbox()
    box.put_state(Publication("heartbeat", b"1"), 0.0)
    box.put_state(state("alarm"), 0.0)
    assert [take(box), take(box), take(box)] == ["1", "x", None]
    box.put_state(Publication("heartbeat", b"2"), 0.0)
    box.send_states()
    assert [take(box), take(box)] == ["x", None]


def test_a_state_that_goes_again_has_what_is_left_of_its_time() -> None:
    """And is forgotten after it: an alarm long over is not told anew each night."""
    box = Outbox()
    box.put_state(replace(state("alarm/old"), expiry_s=600), 0.0)
    assert take(box) == "x"
    box.send_states()
    taken = box.next_due(MESSAGES, at(200))
    assert taken is not None
    assert taken[1].expiry_s == 400
    box.send_states()
    assert take(box, 600.0) is None


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
    box.put_state(state("alarm", "old"), 0.0)
    for number in range(3):
        taken = box.next_due(MESSAGES, at(0))
        assert taken is not None
        box.sent(100 - number, taken[0])
    box.acknowledged(100)
    assert box.acknowledged(12345) is None
    box.connection_lost()
    box.put_state(state("alarm", "new"), 0.0)
    box.send_states()
    got = [take(box) for _ in range(6)]
    assert [(g or "")[:4] for g in got] == ["no 1", "no 2", "no 3", "no 4", "new", ""]


def test_all_states_go_again_after_every_new_connection() -> None:
    """A broker may have lost them: its acknowledgement is no proof (as tried)."""
    box = Outbox()
    box.put_state(state("a", "1"), 0.0)
    box.put_state(state("b", "2"), 0.0)
    assert [take(box), take(box), take(box)] == ["1", "2", None]
    box.send_states()
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
        box.put_state(state(str(number)), 0.0)
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
