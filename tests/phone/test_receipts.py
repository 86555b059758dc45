"""When the broker is told: what a kill would lose it keeps for us, within bounds."""

from collections.abc import Sequence
from typing import Any

import pytest

from cabinvigil.daemon.outputs.mqtt.requests import Envelope
from cabinvigil.daemon.outputs.mqtt.session import Arrived
from cabinvigil.daemon.phone.inbound import TextHeard
from cabinvigil.daemon.phone.listener import Mail
from cabinvigil.daemon.phone.receipts import MOST_OWED, Receipts
from cabinvigil.daemon.phone.rings import PhoneMessage


class Dispatch:
    """A dispatcher's stand-in: what is under way, and what the disk says."""

    def __init__(self) -> None:
        self.under_way: set[str] = set()
        self.sent: list[PhoneMessage] = []
        self.takes = True
        self.on_done: Any = None

    def is_under_way(self, ring_id: str) -> bool:
        return ring_id in self.under_way

    def send(self, rings: Sequence[PhoneMessage], then: Any) -> None:
        self.sent += rings
        self.under_way |= {ring.id for ring in rings}
        then(self.takes)

    def done(self, ring_id: str) -> None:
        self.under_way.discard(ring_id)
        self.on_done(ring_id)


def mail(ident: str, message_id: int, *, is_first: bool = True) -> Mail:
    heard = TextHeard("lapwing", False, "Text.", "o2-low", 5, ident, 3600.0)
    arrived = Arrived("t", b"", Envelope(), message_id, is_first=is_first)
    return Mail(heard, 0.0, False, arrived, 1)


class Broker:
    """Hears what is confirmed."""

    def __init__(self) -> None:
        self.told: list[int] = []

    def __call__(self, mails: Sequence[Mail]) -> None:
        self.told += [one.arrived.message_id for one in mails]


@pytest.fixture
def dispatch() -> Dispatch:
    return Dispatch()


@pytest.fixture
def broker() -> Broker:
    return Broker()


@pytest.fixture
def receipts(dispatch: Dispatch, broker: Broker) -> Receipts:
    return Receipts(dispatch, broker)  # type: ignore[arg-type]


def test_what_is_kept_is_confirmed_at_once(receipts: Receipts, broker: Broker) -> None:
    receipts.send([mail("a", 1), mail("b", 2)])
    assert broker.told == [1, 2]


def test_what_is_not_kept_is_confirmed_when_no_address_waits_for_it(
    receipts: Receipts, dispatch: Dispatch, broker: Broker
) -> None:
    dispatch.takes = False
    receipts.send([mail("a", 1), mail("b", 2)])
    assert broker.told == []
    dispatch.done("b")
    assert broker.told == [2]
    # Sent again, by its new number, while the disk takes other things.
    dispatch.takes = True
    receipts.send([mail("a", 7, is_first=False), mail("c", 8)])
    assert broker.told == [2, 8]
    dispatch.done("a")
    assert broker.told == [2, 8, 7]
    dispatch.done("c")
    assert broker.told == [2, 8, 7]


def test_what_nobody_is_to_have_is_confirmed(
    receipts: Receipts, dispatch: Dispatch, broker: Broker
) -> None:
    dispatch.takes = False
    dispatch.send = lambda _rings, then: then(False)  # type: ignore[method-assign]
    receipts.send([mail("a", 1)])
    assert broker.told == [1]


def test_the_newest_danger_comes_through_however_many_wait(
    receipts: Receipts, dispatch: Dispatch, broker: Broker
) -> None:
    """The broker holds back what it sends beyond what it was not told of."""
    dispatch.takes = False
    for number in range(100):
        receipts.send([mail(f"m{number}", number)])
        assert number - len(broker.told) < MOST_OWED
    assert broker.told == list(range(100 - MOST_OWED))


def test_what_the_broker_sends_again_is_perhaps_told(
    receipts: Receipts, dispatch: Dispatch
) -> None:
    receipts.send([mail("a", 1), mail("b", 2, is_first=False)])
    assert [ring.is_unsure for ring in dispatch.sent] == [False, True]
