"""Faults on a serial line: each does what its word says, from its seed, and ends."""

import pytest

from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart
from tests.emulation import Fails
from tests.rehearsal.ticker import Ticker


class Line:
    """A faulty ticker, and whoever listens to it."""

    def __init__(self, *spans: Fails, seed: int = 1) -> None:
        self.now_s = 0.0
        self.ticker = Ticker()
        self.part = FaultySerialPart("a", self.ticker, spans, seed, lambda: self.now_s)

    def listen(self, until_s: float) -> list[tuple[float, bytes]]:
        heard = []
        while (due_s := self.part.due_s()) is not None and due_s < until_s:
            self.now_s = max(due_s, self.now_s)
            data = self.part.send()
            if data:
                heard.append((round(self.now_s, 3), data))
        return heard


def test_a_line_without_a_fault_is_only_a_line() -> None:
    """Frames come as the part sends them, and answers as it gives them."""
    line = Line(Fails("b", "stall", 0.0, 99.0))
    assert line.listen(3.5) == [(1.0, b"001\n"), (2.0, b"002\n"), (3.0, b"003\n")]
    assert line.part.receive(b"x") == b"ok:x"


def test_split_frames_come_in_two_pieces() -> None:
    """Each frame arrives in two pieces, the second a little later, nothing lost."""
    heard = Line(Fails("a", "split", 0.0, 99.0)).listen(5.5)
    assert len(heard) == 10
    assert b"".join(data for _, data in heard) == b"001\n002\n003\n004\n005\n"
    assert heard[1][0] == pytest.approx(1.03)


def test_merged_frames_come_three_at_once() -> None:
    """Three frames in one piece, nothing lost, also not at the fault's end."""
    heard = Line(Fails("a", "merge", 0.0, 4.5)).listen(6.5)
    assert heard == [
        (3.0, b"001\n002\n003\n"),
        (5.0, b"004\n005\n"),
        (6.0, b"006\n"),
    ]


def test_lost_flipped_and_cut_frames() -> None:
    """One byte less, one bit other, or broken off: as the words say."""
    for word, check in (
        ("drop", lambda data, whole: len(data) == 3 and data != whole),
        ("flip", lambda data, whole: bits(data, whole) == 1),
        ("truncate", lambda data, whole: whole.startswith(data) and data != whole),
    ):
        heard = Line(Fails("a", word, 0.0, 99.0)).listen(20.5)
        assert heard
        assert all(check(data, b"%03d\n" % at_s) for at_s, data in heard)


def bits(data: bytes, whole: bytes) -> int:
    return sum((a ^ b).bit_count() for a, b in zip(data, whole, strict=True))


def test_a_stuck_line_repeats_its_last_frame() -> None:
    """The last frame from before the fault, at the usual pace."""
    heard = Line(Fails("a", "stick", 2.5, 5.5)).listen(6.5)
    assert [data for _, data in heard] == [
        *(b"001\n", b"002\n", b"002\n", b"002\n", b"002\n", b"006\n")
    ]


def test_silence_is_silence() -> None:
    """A stalled part sends nothing and answers nothing; then it goes on."""
    line = Line(Fails("a", "stall", 1.5, 3.5))
    assert [at_s for at_s, _ in line.listen(3.2)] == [1.0]
    assert line.part.receive(b"x") == b""
    assert [at_s for at_s, _ in line.listen(5.5)] == [4.0, 5.0]


def test_a_babble_fills_the_line_and_ends() -> None:
    """960 bytes a second of nonsense from the fault's beginning to its end."""
    line = Line(Fails("a", "babble", 2.2, 4.2))
    heard = line.listen(6.5)
    nonsense = [(at_s, data) for at_s, data in heard if len(data) > 4]
    assert nonsense[0][0] == 2.2
    assert sum(len(data) for _, data in nonsense) == pytest.approx(1920, abs=48)
    assert [at_s for at_s, data in heard if len(data) == 4] == [1.0, 2.0, 5.0, 6.0]


def test_power_up_noise_ends_after_some_frames() -> None:
    """Junk and half frames first, three times, then frames; the part starts anew."""
    line = Line(Fails("a", "noise", 0.0, 99.0))
    heard = [data for _, data in line.listen(6.5)]
    assert all(len(data) >= 9 for data in heard[:3])
    assert heard[3:] == [b"004\n", b"005\n", b"006\n"]
    assert line.ticker.power_ups == 1


def test_a_part_that_vanished_is_powered_anew() -> None:
    """Its power comes back with it, once."""
    line = Line(Fails("a", "vanish", 1.5, 3.5))
    line.listen(5.5)
    assert line.ticker.power_ups == 1
