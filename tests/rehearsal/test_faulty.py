"""Faults on the I2C wire and in texts: as their words say, from their seed."""

import errno
from typing import Any

import pytest
from smbus2 import i2c_msg

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from cabinvigil.daemon.rehearsal.faults import (
    I2C_FAULTS,
    FaultPlan,
)
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus, FaultyText, Stranger
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from tests.emulation import Fails
from tests.rehearsal.ticker import Ticker


class Counter:
    """A register part whose answer counts up, so that a repeated one shows."""

    def __init__(self) -> None:
        self.power_ups = 0
        self.count = 0

    def write(self, data: bytes) -> None:
        pass

    def read(self, length: int) -> bytes:
        self.count += 1
        return self.count.to_bytes(length, "big")

    def power_up(self) -> None:
        self.power_ups += 1


class Wire:
    """Two counters at 0x10 (a) and 0x20 (b), and a clock that tests move."""

    def __init__(self, *spans: Fails, seed: int = 1, **strangers: Any) -> None:
        self.now_s = 0.0
        self.parts = {"a": Counter(), "b": Counter()}
        bus = EmulatedSMBus()
        addresses = {"a": 0x10, "b": 0x20}
        for name, address in addresses.items():
            bus.attach(address, self.parts[name])
        self.bus = FaultySMBus(
            bus, addresses, spans, seed, lambda: self.now_s, strangers=strangers
        )

    def read(self, at_s: float, address: int = 0x10, length: int = 4) -> bytes | int:
        """Return the bytes, or the errno."""
        self.now_s = at_s
        message = i2c_msg.read(address, length)
        try:
            self.bus.i2c_rdwr(i2c_msg.write(address, b"\x01"), message)
        except OSError as error:
            return error.errno or 0
        return bytes(message)


def test_without_a_fault_the_wire_is_only_a_wire() -> None:
    """Before and after its span a fault changes nothing."""
    wire = Wire(Fails("a", "flip", 10.0, 20.0))
    assert wire.read(9.9) == b"\0\0\0\x01"
    assert wire.read(10.0) != b"\0\0\0\x02"
    assert wire.read(20.0) == b"\0\0\0\x03"


@pytest.mark.parametrize(
    ("fault", "number"),
    [
        ("vanish", errno.EREMOTEIO),
        ("stall", errno.EIO),
        ("hold", errno.ETIMEDOUT),
    ],
)
def test_refusals_have_the_pis_errno(fault: str, number: int) -> None:
    """No answer 121, a held clock 5, a held line 110 (sensor notes 14)."""
    wire = Wire(Fails("a", fault, 10.0, 20.0))
    assert wire.read(15.0) == number
    other = wire.read(15.0, 0x20)
    assert other == (errno.ETIMEDOUT if fault == "hold" else b"\0\0\0\x01")
    assert isinstance(wire.read(20.0), bytes)


def test_a_flip_is_one_bit_and_the_seed_says_which() -> None:
    """Exactly one bit of each answer differs; the same seed flips the same bits."""

    def flips(seed: int) -> list[int]:
        wire = Wire(Fails("a", "flip", 0.0, 99.0), seed=seed)
        out = []
        for n in range(1, 30):
            got = wire.read(float(n))
            assert isinstance(got, bytes)
            out.append(int.from_bytes(got, "big") ^ n)
        return out

    assert {flipped.bit_count() for flipped in flips(1)} == {1}
    assert flips(1) == flips(1)
    assert flips(1) != flips(2)


def test_a_cut_answer_is_filled_with_zeros() -> None:
    """As smbus2 leaves a buffer that was not filled (table 14, row 9)."""
    wire = Wire(Fails("a", "truncate", 0.0, 99.0))
    wire.parts["a"].count = 0x11111110
    cuts = set()
    for n in range(60):
        got = wire.read(float(n))
        assert isinstance(got, bytes)
        kept = len(got.rstrip(b"\0"))
        assert got[kept:] == bytes(4 - kept)
        cuts.add(kept)
    assert cuts == {0, 1, 2, 3}


def test_a_stuck_part_repeats_its_last_answer() -> None:
    """The answer from before the fault comes again and again, and then lives on."""
    wire = Wire(Fails("a", "stick", 10.0, 20.0))
    last = wire.read(9.0)
    assert [wire.read(10.0 + n) for n in range(9)] == [last] * 9
    assert wire.read(20.0) not in (last, wire.read(21.0))


def test_dead_lines_read_low_or_open() -> None:
    """All zeros, or all ones."""
    assert Wire(Fails("a", "zeros", 0.0, 9.0)).read(1.0) == bytes(4)
    assert Wire(Fails("a", "ones", 0.0, 9.0)).read(1.0) == b"\xff" * 4


def test_a_fifth_of_the_transfers_drop() -> None:
    """Drops are drawn from the seed, about a fifth of the transfers."""
    wire = Wire(Fails("a", "drop", 0.0, 9999.0))
    dropped = [wire.read(float(n)) for n in range(1000)].count(errno.EREMOTEIO)
    assert 150 < dropped < 250


def test_vanish_and_reset_take_the_power() -> None:
    """A reset happens once, at its beginning; a vanished part starts anew."""
    wire = Wire(Fails("a", "reset", 10.0, 20.0), Fails("a", "vanish", 30.0, 40.0))
    for at_s in (5.0, 11.0, 12.0, 19.0):
        wire.read(at_s)
    assert wire.parts["a"].power_ups == 1
    for at_s in (31.0, 41.0, 42.0):
        wire.read(at_s)
    assert wire.parts["a"].power_ups == 2
    assert wire.parts["b"].power_ups == 0


def test_another_identity_comes_and_goes() -> None:
    """A stranger answers in the part's place; then the part is back, powered anew."""
    stranger = Stranger(5)
    wire = Wire(Fails("a", "identity", 10.0, 20.0), a=stranger)
    assert wire.read(5.0) == b"\0\0\0\x01"
    stranger.write(b"\x01")
    assert wire.read(15.0) == stranger.read(4)
    assert wire.read(25.0) == b"\0\0\0\x02"
    assert wire.parts["a"].power_ups == 1


def test_a_fault_of_the_bus_is_every_parts() -> None:
    """The name `bus` stands for all parts on it."""
    wire = Wire(Fails("bus", "zeros", 10.0, 20.0))
    assert wire.read(15.0, 0x10) == wire.read(15.0, 0x20) == bytes(4)


def test_faults_can_keep_their_own_time() -> None:
    """With the loop's timers a reset happens at its moment, not when next asked."""
    planned: list[tuple[float, Any, str]] = []
    wire = Wire(Fails("a", "reset", 10.0, 20.0))
    wire.bus.keep_time(lambda at_s, act, name: planned.append((at_s, act, name)))
    assert [(at_s, name) for at_s, _, name in planned] == [(10.0, "a"), (20.0, "a")]
    wire.now_s = 10.0
    planned[0][1](planned[0][2])
    assert wire.parts["a"].power_ups == 1


def test_a_word_that_a_wire_does_not_know_is_refused() -> None:
    """The sentence names the part, the word, and the words there are."""
    with pytest.raises(
        ValueError, match=r"'split' of a is not one of this wire.*babble"
    ):
        Wire(Fails("a", "split", 0.0, 1.0))
    with pytest.raises(ValueError, match="needs a stranger"):
        FaultySerialPart(
            "a", Ticker(), [Fails("a", "identity", 0.0, 1.0)], 1, lambda: 0.0
        )
    FaultPlan(
        [Fails("other", "split", 0.0, 1.0)], frozenset({"a"}), I2C_FAULTS, lambda: 0.0
    )


def test_texts_fail_by_their_words() -> None:
    """The kernel's text breaks off, fails its check, stands still, or is gone."""
    now = {"s": 0.0}

    def text(word: str) -> FaultyText:
        part = EmulatedDs18b20(AirNow, 1, lambda: now["s"])
        spans = [Fails("a", word, 10.0, 20.0)]
        return FaultyText("a", part, spans, 1, lambda: now["s"])

    def at(faulty: FaultyText, at_s: float) -> bytes:
        now["s"] = at_s
        return faulty.text()

    assert b"NO" in at(text("flip"), 15.0)
    assert at(text("stall"), 15.0) == b""
    assert at(text("zeros"), 15.0).startswith(
        b"00 00 00 00 00 00 00 00 00 : crc=00 YES"
    )
    assert at(text("ones"), 15.0).startswith(b"ff ff ff ff ff ff ff ff ff : crc=c9 NO")
    assert len(at(text("truncate"), 15.0)) < 75
    stuck = text("stick")
    before = at(stuck, 5.0)
    assert {at(stuck, 10.0 + n) for n in range(9)} == {before}
    gone = text("vanish")
    with pytest.raises(FileNotFoundError):
        at(gone, 15.0)
    assert b"YES" in at(gone, 25.0)
