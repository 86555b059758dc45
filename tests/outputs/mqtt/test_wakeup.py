"""The pipe that wakes the network's thread: rung by anyone, and let go at the end."""

import os
import select

import pytest

from cabinvigil.daemon.outputs.mqtt.wakeup import Wakeup
from tests.outputs.mqtt.cabin import Cabin, cabin


def files() -> int:
    return len(os.listdir("/proc/self/fd"))


def is_rung(wakeup: Wakeup) -> bool:
    return bool(select.select([wakeup], [], [], 0.0)[0])


def test_it_rings_until_it_is_hushed() -> None:
    wakeup = Wakeup()
    wakeup.open()
    for _ in range(3):
        wakeup.ring()
    assert is_rung(wakeup)
    wakeup.hush()
    assert not is_rung(wakeup)
    wakeup.close()


def test_a_pipe_that_is_full_holds_up_nobody() -> None:
    """Nobody has looked for hours: who rings must not wait for it."""
    wakeup = Wakeup()
    wakeup.open()
    for _ in range(100_000):
        wakeup.ring()
    wakeup.hush()
    assert not is_rung(wakeup)
    wakeup.close()


def test_ringing_is_harmless_before_it_is_open_and_after_it_was_closed() -> None:
    before = files()
    wakeup = Wakeup()
    wakeup.ring()
    assert files() == before
    wakeup.open()
    wakeup.open()
    assert files() == before + 2
    wakeup.ring()
    wakeup.close()
    wakeup.close()
    wakeup.ring()
    assert files() == before


@pytest.mark.parametrize("starts", [0, 1, 3])
def test_a_phone_side_leaves_no_descriptor(starts: int) -> None:
    """A thousand reloads would else leave two thousand, and nothing could be opened."""
    before = files()
    one = Cabin(1)
    for _ in range(starts):
        one.phone.start()
        one.wait(lambda: one.told)
        one.phone.stop(5.0)
    one.phone.stop(5.0)
    assert files() == before


def test_an_alert_from_before_the_start_is_not_forgotten() -> None:
    """It rang while nobody listened; the first round looks at what waits."""
    with cabin(1) as one:
        assert one.desk.outbox.alerts_waiting == 0
        one.phone.stop(5.0)
        one.alert("Oxygen low: 19.4 %.")
        one.phone.start()
        assert one.desk.outbox.alerts_waiting == 1


def test_a_machine_without_descriptors_is_told_and_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The start of the watch goes on: the sounder needs none of them."""
    gives, real = [False], os.pipe2

    def pipe2(flags: int) -> tuple[int, int]:
        if not gives[0]:
            raise OSError(24, "Too many open files")
        return real(flags)

    monkeypatch.setattr(os, "pipe2", pipe2)
    with cabin(1) as one:
        one.wait(lambda: one.told.kinds() == ["late"])
        assert "Too many open files" in one.told[0].text  # type: ignore[union-attr]
        gives[0] = True
        one.wait(lambda: "out-of-reach" in one.told.kinds())
