"""Faults on the wire: each does what its word says, from its seed, and ends."""

import errno
from pathlib import Path
from typing import Any

import pytest
from smbus2 import i2c_msg

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.ds18b20 import EmulatedDs18b20
from cabinvigil.daemon.rehearsal.faults import (
    FILE_FAULTS,
    I2C_FAULTS,
    SERIAL_FAULTS,
    FaultPlan,
)
from cabinvigil.daemon.rehearsal.faulty import FaultySMBus, FaultyText, Stranger
from cabinvigil.daemon.rehearsal.faulty_serial import FaultySerialPart
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.rehearsal.wires import EmulatedSMBus
from cabinvigil.daemon.sampling.sampler import BACK_OFF_CAP_S
from cabinvigil.drivers import part as find_part
from tests.emulation import Cabin, Fails, live


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
    with pytest.raises(ValueError, match=r"'split' of a is none of this wire.*babble"):
        Wire(Fails("a", "split", 0.0, 1.0))
    with pytest.raises(ValueError, match="needs a stranger"):
        FaultySerialPart(
            "a", Ticker(), [Fails("a", "identity", 0.0, 1.0)], 1, lambda: 0.0
        )
    FaultPlan(
        [Fails("other", "split", 0.0, 1.0)], frozenset({"a"}), I2C_FAULTS, lambda: 0.0
    )


# --- serial -------------------------------------------------------------------------


class Ticker:
    """Says one frame of four bytes a second: its count."""

    def __init__(self) -> None:
        self.next_s = 1.0
        self.count = 0
        self.power_ups = 0

    def due_s(self) -> float | None:
        return self.next_s

    def send(self) -> bytes:
        self.next_s += 1.0
        self.count += 1
        return b"%03d\n" % self.count

    def receive(self, data: bytes) -> bytes:
        return b"ok:" + data

    def power_up(self) -> None:
        self.power_ups += 1


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


# --- text ---------------------------------------------------------------------------


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


# --- every part with every fault ----------------------------------------------------

SEEN_LATE = {"stick", "identity"}
"""A repeated value is for the rules to see; a stranger is not on every wire."""
MAY_LIE = {"bme280", "ina226", "o2_key_register", "tmp117", "pm_frame"}
"""No check of their own against flipped bits, or one of 1 in 65536: what is delivered
then is for the rules to judge (sensor notes 0.3)."""
WHERE = {
    "bme280": ("pressure_hpa", 939.0, 5.0),
    "ds18b20": ("temp_c", 2.0, 1.5),
    "frame9_co": ("co_ppm", 0.0, 3.0),
    "frame9_co2": ("co2_ppm", 420.0, 120.0),
    "ina226": ("supply_v", 12.6, 0.5),
    "o2_optical_line": ("o2_pct", 20.67, 0.9),
    "scd4x": ("co2_ppm", 420.0, 120.0),
    "sgp41": ("voc_raw", 24000.0, 13000.0),
    "sht4x": ("rh_pct", 75.0, 8.0),
    "sps30": ("pm2_5_ugm3", 8.0, 6.0),
    "tmp117": ("temp_c", 2.0, 1.0),
}
FAULTS = {"i2c": I2C_FAULTS, "serial": SERIAL_FAULTS, "file": FILE_FAULTS}
MATRIX = [
    (kind, fault)
    for kind in sorted(WHERE)
    for fault in sorted(FAULTS[find_part(kind).bus])
    if fault != "identity" or find_part(kind).bus == "i2c"
]


def unheard_s(cabin: Cabin, quantity: str, from_s: float, to_s: float) -> float:
    """Return the longest time with neither a value nor a standing fault."""
    heard = [(t, "value") for t, _ in cabin.of("it", quantity)]
    told = [
        (t, "fault" if isinstance(e, SourceFault) else "ok") for t, e in cabin.events
    ]
    longest_s, since_s, stands = 0.0, from_s, False
    for at_s, what in sorted(heard + told):
        if from_s <= at_s <= to_s and not stands:
            longest_s = max(longest_s, at_s - since_s)
        if what != "value":
            stands = what == "fault"
        since_s = max(at_s, from_s)
    return longest_s


@pytest.mark.parametrize(("kind", "fault"), MATRIX)
def test_no_fault_is_silent_and_none_is_for_good(
    kind: str, fault: str, tmp_path: Path
) -> None:
    """For every part and fault: told within the age limit or values go on; nothing
    false is delivered by a part that has a check; all is well again without a restart.
    """
    info = find_part(kind)
    begin, end = 200.0, 320.0
    cabin = run_virtual(
        live(tmp_path, {"it": kind}, 500.0, Fails("it", fault, begin, end))
    )
    quantity, truth, within = WHERE[kind]
    limit_s = info.max_age_s + info.interval_s + 3.0
    assert unheard_s(cabin, quantity, begin, end) <= limit_s
    during = [s.value for t, s in cabin.of("it", quantity) if begin <= t < end]
    if kind not in MAY_LIE and fault not in SEEN_LATE:
        assert all(abs(value - truth) <= within for value in during)
    after_s = end + BACK_OFF_CAP_S + info.max_age_s
    after = [s.value for t, s in cabin.of("it", quantity) if t > after_s]
    assert len(after) > 3
    assert all(abs(value - truth) <= within for value in after)
    for source in {e.source for _, e in cabin.events}:
        kinds = [k for _, k in cabin.told(source)]
        # An hour's count may stand on; any other fault is over.
        assert kinds[-1] in ("", "unsteady", "checksum", "short", "framing"), kinds


def test_the_night_failing_is_in_words_that_wires_know() -> None:
    """Every failure of the named nights is a word of some wire."""
    words = I2C_FAULTS | SERIAL_FAULTS | FILE_FAULTS
    failures = [f for night in NIGHTS.values() for f in night.failures]
    assert failures
    assert {f.fault for f in failures} <= words
