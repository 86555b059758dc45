"""What the bridge says of itself: told when it stays down, and the states go again."""

from cabinvigil.daemon.outputs.mqtt.bridge import (
    AGAIN_AFTER_S,
    DOWN_PATIENCE_S,
    BridgeStatus,
)


def test_without_a_bridge_nothing_is_told() -> None:
    status = BridgeStatus()
    assert not status.is_down(1e6)
    assert not status.opens(1e6)


def test_it_is_down_where_either_hop_is_and_for_longer_than_a_restart() -> None:
    status = BridgeStatus()
    status.heard("bridge", b"1", 0.0)
    status.heard("bridge/here", b"0", 10.0)
    status.heard("bridge/here", b"0", 40.0)
    assert not status.is_down(10.0 + DOWN_PATIENCE_S - 1.0)
    assert status.is_down(10.0 + DOWN_PATIENCE_S)
    status.heard("bridge/here", b"1", 100.0)
    assert not status.is_down(1_000.0)


def test_it_opens_once_for_each_time_it_comes_back() -> None:
    """The first word on a connection is no return: all has just been sent."""
    status = BridgeStatus()
    status.heard("bridge", b"1", 0.0)
    assert not status.opens(0.0)
    status.heard("bridge", b"0", 10.0)
    assert not status.opens(10.0)
    status.heard("bridge", b"1", 20.0)
    assert status.opens(20.0)
    assert not status.opens(20.0)


def test_a_bridge_that_flutters_is_given_all_that_stands_seldom() -> None:
    """Whoever holds the other end may say 1 and 0 as often as they like."""
    status = BridgeStatus()
    count = 0
    for second in range(300):
        status.heard("bridge", b"0", second)
        status.heard("bridge", b"1", second + 0.5)
        count += status.opens(second + 0.5)
    assert 0 < count <= 300 / AGAIN_AFTER_S + 1


def test_what_is_no_word_of_a_bridge_is_not_heeded() -> None:
    status = BridgeStatus()
    for word in (b"", b"2", b"down", b"\xff" * 1_000):
        status.heard("bridge", word, 0.0)
    assert not status.is_down(1e6)
