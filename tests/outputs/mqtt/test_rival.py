"""Two watches of one name at one broker: told as that, by both, and over when it is."""

from datetime import UTC, datetime

import pytest

from cabinvigil.daemon.outputs.mqtt.messages import run_of
from cabinvigil.daemon.outputs.mqtt.rival import QUIET_S, RivalWatch
from tests.outputs.brokers import Mosquitto
from tests.outputs.mqtt.cabin import Cabin, cabin


def test_a_run_before_ours_is_no_rival() -> None:
    """What the broker kept of it comes before we have spoken."""
    rival = RivalWatch("b")
    rival.heard("a", 0.0)
    assert not rival.is_there(0.0)
    rival.spoke()
    rival.heard("b", 1.0)
    rival.heard("", 1.0)
    assert not rival.is_there(1.0)


def test_another_run_after_we_spoke_is_one_until_it_is_quiet() -> None:
    rival = RivalWatch("b")
    rival.spoke()
    rival.heard("c", 10.0)
    assert rival.is_there(10.0 + QUIET_S - 1.0)
    assert not rival.is_there(10.0 + QUIET_S)


@pytest.mark.broker
def test_two_watches_of_one_name_are_told_as_that(open_broker: Mosquitto) -> None:
    """This broker throws the first out without a word, as if the network broke."""
    with cabin(open_broker.port) as first:
        first.wait(lambda: not first.desk.outbox.has_more)
        # Of one millisecond they would be one run.
        first.wait(lambda: run_of(datetime.now(UTC)) != first.desk.messages.run)
        second = Cabin(open_broker.port)
        second.phone.start()
        try:
            first.wait(lambda: "refused" in first.told.kinds(), 40.0)
            assert "a second monitor uses the name 'lapwing'" in str(first.told)
            assert first.told.kinds()[-1] == "refused", (
                "and not as a network that breaks"
            )
        finally:
            second.phone.stop(1.0)


@pytest.mark.broker
def test_a_restart_is_no_rival(open_broker: Mosquitto) -> None:
    """Killed, and back under another run before the broker has noticed."""
    with cabin(open_broker.port) as first:
        first.wait(lambda: not first.desk.outbox.has_more)
    with cabin(open_broker.port) as second:
        second.wait(lambda: not second.desk.outbox.in_flight)
        second.alert("Oxygen low: 19.4 %.")
        second.wait(lambda: second.desk.outbox.alerts_waiting == 0)
        assert second.told == []
