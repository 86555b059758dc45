"""What every output shares: a fault is told once, in its order, and its end too."""

import threading

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import FaultLatch
from tests.outputs.hands import Told

SOON_S = 10.0
"""For what comes at once on any machine: nothing is measured by it."""


def test_a_fault_is_told_once_and_once_more_when_it_is_over() -> None:
    told = Told()
    health = FaultLatch("log", told)
    health.ok()
    health.fault("not-writable", "3 lines wait.")
    health.fault("not-writable", "4 lines wait.")
    assert not health.is_well
    health.fault("blocked", "It hangs.")
    health.ok()
    health.ok()
    assert health.is_well
    assert told.kinds() == ["not-writable", "blocked", "ok"]


def test_an_end_never_overtakes_its_fault() -> None:
    """Two threads: the one tells of a fault, slowly, while the other says it is over.

    What the core heard last would stand for the night.
    """
    told, tells, is_over = Told(), threading.Event(), threading.Event()

    def slow(event: SourceFault | SourceOk) -> None:
        if isinstance(event, SourceFault):
            tells.set()
            is_over.wait(0.3)  # the other's whole chance to come first
        told(event)

    health = FaultLatch("log", slow)
    one = threading.Thread(target=health.fault, args=("blocked", "It hangs."))

    def mend() -> None:
        health.ok()
        is_over.set()

    other = threading.Thread(target=mend)
    one.start()
    assert tells.wait(SOON_S)
    other.start()
    for thread in (one, other):
        thread.join(SOON_S)
    assert told.kinds() == ["blocked", "ok"]


def test_who_is_told_may_ask_and_tell_the_same_latch() -> None:
    """The core's shell gives commands to outputs while it takes a fault."""
    told = Told()

    def core(event: SourceFault | SourceOk) -> None:
        told(event)
        if isinstance(event, SourceFault):
            assert not health.is_well
            health.fault("blocked", "It hangs.")

    health = FaultLatch("log", core)
    health.fault("blocked", "It hangs.")
    health.ok()
    assert told.kinds() == ["blocked", "ok"]


def test_what_could_not_be_told_is_told_with_its_next_occasion() -> None:
    """Nobody took it, so nobody knows: it is not told already."""
    told, is_there = Told(), [False]

    def core(event: SourceFault | SourceOk) -> None:
        if not is_there[0]:
            raise RuntimeError("the loop is closed")
        told(event)

    health = FaultLatch("log", core)
    with pytest.raises(RuntimeError):
        health.fault("blocked", "It hangs.")
    is_there[0] = True
    health.fault("blocked", "It hangs.")
    is_there[0] = False
    with pytest.raises(RuntimeError):
        health.ok()
    is_there[0] = True
    health.ok()
    assert told.kinds() == ["blocked", "ok"]


def test_two_concerns_of_one_source_end_apart() -> None:
    """A pin that works again proves nothing of the sense line beside it."""
    told = Told()
    health = FaultLatch("buzzer", told)
    health.fault("not-heard", "Nobody hears.", concern="proof")
    health.fault("port-missing", "The pin is gone.")
    health.ok("")
    assert not health.is_well
    health.ok("")
    health.ok("proof")
    assert health.is_well
    assert told == [
        SourceFault("buzzer", "not-heard", "Nobody hears."),
        SourceFault("buzzer", "port-missing", "The pin is gone."),
        SourceFault("buzzer", "not-heard", "Nobody hears."),
        SourceOk("buzzer"),
    ]


def test_the_end_of_what_was_told_before_changes_no_word() -> None:
    """The core holds one fault of a source: the newest that stands."""
    told = Told()
    health = FaultLatch("buzzer", told)
    health.fault("not-heard", "Nobody hears.", concern="proof")
    health.fault("port-missing", "The pin is gone.")
    health.ok("proof")
    assert told.kinds() == ["not-heard", "port-missing"]
    health.ok()
    assert told.kinds() == ["not-heard", "port-missing", "ok"]


def test_all_is_well_ends_every_concern_at_once() -> None:
    told = Told()
    health = FaultLatch("buzzer", told)
    health.fault("not-heard", "Nobody hears.", concern="proof")
    health.fault("late", "It stumbled.", concern="thread")
    health.ok()
    assert told.kinds() == ["not-heard", "late", "ok"]
