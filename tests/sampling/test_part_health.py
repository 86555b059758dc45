"""What failures amount to, in pure time: table 14 of the sensor notes, row by row."""

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.sampling.bus_errors import (
    DeviceMissingError,
    NoAnswerError,
    TransferError,
)
from cabinvigil.daemon.sampling.part_health import HourCount, PartHealth
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CellDeadError,
    CrcError,
    DriverError,
    FramingError,
    LengthError,
    NotMeasuredError,
    NotReadyError,
    OutOfRangeError,
    ShortError,
    WrongPartError,
)


class Told:
    """A part's health, and what it told."""

    def __init__(self, interval_s: float = 5.0, share: float = 0.01) -> None:
        self.events: list[SourceFault | SourceOk] = []
        self.health = PartHealth(
            "bunk-co2",
            "CO2 sensor (SCD4x)",
            interval_s=interval_s,
            max_age_s=60.0,
            tell=self.events.append,
            share=share,
        )

    @property
    def kinds(self) -> list[str]:
        return [e.kind if isinstance(e, SourceFault) else "" for e in self.events]

    def fail(self, error: Exception, *times_s: float) -> None:
        for now_s in times_s:
            self.health.failed(error, now_s)


NACK = NoAnswerError(121, "no reply at 0x62 on /dev/i2c-1")


def test_a_hundred_good_readings_tell_nothing() -> None:
    """A part that works is not talked of."""
    told = Told()
    for n in range(100):
        told.health.good(5.0 * n)
    assert told.events == []


@pytest.mark.parametrize(
    ("error", "kind", "in_a_row"),
    [
        (NACK, "absent", 6),
        (TransferError(5, "the transfer broke off"), "absent", 6),
        (CrcError("c"), "checksum", 3),
        (ShortError("s"), "short", 3),
        (FramingError("f"), "framing", 3),
        (LengthError("l"), "framing", 3),
        (NotMeasuredError("f4 reads 00"), "not-measured", 3),
        (WrongPartError("id 58, not 60"), "wrong-part", 2),
        (OutOfRangeError("0 %"), "out-of-range", 3),
        (CellDeadError("0.1 mV"), "cell-dead", 3),
        (TimeoutError(), "blocked", 1),
        (CalibrationError("stays on"), "calibration", 3),
    ],
)
def test_each_way_to_fail_is_told_after_its_count(
    error: Exception, kind: str, in_a_row: int
) -> None:
    """Isolated failures are silent; the last of a row tells, once; good ends it."""
    told = Told()
    told.fail(error, *(0.05 * n for n in range(in_a_row - 1)))
    assert told.events == []
    told.fail(error, *(1.0 + n for n in range(20)))
    assert told.kinds == [kind]
    told.health.good(60.0)
    assert told.kinds == [kind, ""]


def test_the_sentence_names_part_deed_and_remedy() -> None:
    """One sentence: which part, what it did, what to do."""
    told = Told()
    told.fail(NACK, 0.0, 0.05, 0.1, 1.3, 1.35, 1.4)
    assert told.events == [
        SourceFault(
            "bunk-co2",
            "absent",
            "bunk-co2 (CO2 sensor (SCD4x)) does not respond (no reply at 0x62 on "
            "/dev/i2c-1): check its plug and cable",
        )
    ]


@pytest.mark.parametrize(
    ("reply", "word"),
    [
        (b"\0" * 9, "all zeros as on a line held low"),
        (b"\xff" * 9, "all ones as on an open line"),
        (b"\x01\xf4\x7b", ""),
        (b"", ""),
    ],
)
def test_a_line_that_is_low_or_open_is_named(reply: bytes, word: str) -> None:
    """Answers of one byte repeated betray the line (table 14, row 8)."""
    told = Told()
    for n in range(3):
        told.health.failed(CrcError("c"), float(n), reply)
    (fault,) = told.events
    assert isinstance(fault, SourceFault)
    assert word in fault.text
    assert "{" not in fault.text


def test_a_change_of_kind_is_told_and_the_same_again_is_not() -> None:
    """Absent, then another part in its place, then well: three events."""
    told = Told()
    told.fail(NACK, 0.0, 0.1, 0.2, 2.0, 2.1, 2.2, 3.0)
    told.fail(WrongPartError("id 58, not 60"), 4.0, 5.0, 6.0)
    told.health.good(7.0)
    told.health.good(8.0)
    assert told.kinds == ["absent", "wrong-part", ""]


def test_a_lone_failure_between_good_readings_is_counted_not_shouted() -> None:
    """Seven checksum errors in an hour of 720 readings are silent, eight are told.

    Table 14, row 7: more than 1 % in an hour.
    """
    told = Told()
    for n in range(7):
        told.fail(CrcError("c"), 100.0 * n)
        told.health.good(100.0 * n + 5.0)
    assert told.events == []
    told.fail(CrcError("c"), 700.0)
    told.health.good(705.0)
    assert told.kinds == ["checksum"]
    (fault,) = told.events
    assert isinstance(fault, SourceFault)
    assert "8 times within the hour" in fault.text


def test_the_hours_fault_ends_when_half_is_left() -> None:
    """It does not come and go on the edge: it ends at half the limit."""
    told = Told()
    for n in range(8):
        told.fail(CrcError("c"), 100.0 * n)
        told.health.good(100.0 * n + 5.0)
    assert told.kinds == ["checksum"]
    told.health.good(3700.0)  # seven are left, six ...
    told.health.good(3900.0)
    assert told.kinds == ["checksum"]
    told.health.good(4200.0)  # three are left
    assert told.kinds == ["checksum", ""]


def test_isolated_refusals_are_unsteady() -> None:
    """Now and then no answer: a kind of its own, with the bus's speed as a remedy."""
    told = Told()
    for n in range(9):
        told.fail(NACK, 100.0 * n)
        told.health.good(100.0 * n + 5.0)
    assert told.kinds == ["unsteady"]
    (fault,) = told.events
    assert isinstance(fault, SourceFault)
    assert "lower the bus's speed" in fault.text


def test_a_long_absence_is_not_counted_again_afterwards() -> None:
    """Ten minutes unplugged are one fault; back, the part is well at once."""
    told = Told()
    told.fail(NACK, *(10.0 * n for n in range(60)))
    told.health.good(601.0)
    told.health.good(606.0)
    assert told.kinds == ["absent", ""]


def test_a_part_that_is_not_ready_is_asked_on_then_set_up() -> None:
    """No fault at first; after two intervals a set-up, twice; then a fault (row 12)."""
    told = Told()
    told.health.good(0.0)
    ready = NotReadyError("not yet")
    assert not told.health.failed(ready, 5.0).set_up
    assert not told.health.failed(ready, 9.0).set_up
    for late_s in (10.0, 21.0):
        remedy = told.health.failed(ready, late_s)
        assert remedy.set_up
        assert not remedy.again
        told.health.set_up(late_s + 0.5, again=True)
        assert told.events == []
    assert told.health.failed(ready, 32.0).set_up
    assert told.kinds == ["not-ready"]


def test_a_part_that_is_not_ready_for_its_age_limit_is_a_fault() -> None:
    """However often it is asked, the stated age ends the patience."""
    told = Told(interval_s=40.0)
    told.health.good(0.0)
    told.fail(NotReadyError("not yet"), 40.0, 99.0)
    assert told.events == []
    told.fail(NotReadyError("not yet"), 101.0)
    assert told.kinds == ["not-ready"]


def test_a_part_that_was_never_ready_is_counted_from_the_first_asking() -> None:
    """Without one good reading, its patience starts when it was first asked."""
    told = Told()
    told.fail(NotReadyError("not yet"), 1000.0, 1009.0)
    assert told.events == []
    told.fail(NotReadyError("not yet"), 1061.0)
    assert told.kinds == ["not-ready"]


def test_time_without_the_bus_is_not_the_parts() -> None:
    """A part whose bus was away for long is asked anew, not blamed for its age."""
    told = Told()
    told.health.good(0.0)
    told.fail(NotReadyError("not yet"), 6.0)
    told.health.bus_lost()
    told.fail(NotReadyError("not yet"), 600.0, 605.0)
    assert told.events == []


def test_settings_lost_four_times_in_an_hour_are_a_fault() -> None:
    """Row 14: re-initialise, and a fault after three an hour; the supply is named."""
    told = Told()
    for n in range(4):
        assert told.health.failed(NotMeasuredError("f4 reads 00"), 300.0 * n).set_up
        told.health.set_up(300.0 * n + 1.0, again=True)
        told.health.good(300.0 * n + 2.0)
        assert told.kinds == (["not-measured"] if n == 3 else [])
    (fault,) = told.events
    assert isinstance(fault, SourceFault)
    assert "lost its settings 4 times" in fault.text
    assert "supply" in fault.text


def test_the_first_set_up_and_those_of_a_fault_are_no_loss_of_settings() -> None:
    """Only a set-up again of a part that was well counts as a loss of mode."""
    told = Told()
    for n in range(10):
        told.health.set_up(1.0 * n, again=False)
    told.fail(NACK, *(10.0 + n for n in range(6)))
    for n in range(10):
        told.health.set_up(20.0 + n, again=True)
    told.health.good(40.0)
    assert told.kinds == ["absent", ""]


@pytest.mark.parametrize(
    ("error", "set_up_from"),
    [
        (NACK, 3),
        (NotMeasuredError("m"), 1),
        (WrongPartError("w"), 1),
        (TimeoutError(), 1),
        (CrcError("c"), 99),
        (OutOfRangeError("o"), 99),
    ],
)
def test_what_may_have_lost_its_mode_is_set_up_again(
    error: Exception, set_up_from: int
) -> None:
    """A part that was away, or tells of no measurement, is set up (rows 1 and 14)."""
    health = Told().health
    for n in range(1, 4):
        assert health.failed(error, 0.05 * n).set_up == (n >= set_up_from)


def test_a_stream_counts_garbled_messages_only_against_the_hour() -> None:
    """Row 17: a frame lost now and then is dropped; beyond 5 % it is a fault."""
    told = Told(interval_s=1.0, share=0.05)
    for n in range(180):
        told.health.garbled(CrcError("c"))
        told.health.good(float(n))
    assert told.events == []
    told.health.garbled(CrcError("c"))
    told.health.good(181.0)
    assert told.kinds == ["checksum"]


def test_a_port_of_its_own_that_is_missing_is_the_parts_fault() -> None:
    """The port's sentence follows the part's name."""
    told = Told()
    told.health.port_lost(DeviceMissingError(2, "there is no serial port /dev/x"), 1.0)
    assert told.kinds == ["port-missing"]
    (fault,) = told.events
    assert isinstance(fault, SourceFault)
    assert fault.text.startswith("bunk-co2 (CO2 sensor (SCD4x)): there is no serial")
    assert told.health.is_faulty


def test_an_unknown_driver_error_is_not_taken_for_good() -> None:
    """A code that the table does not know still is a fault."""

    class OddError(DriverError):
        code = "odd"

    told = Told()
    told.fail(OddError("odd"), 0.0, 1.0, 2.0)
    assert told.kinds == ["out-of-range"]


@pytest.mark.parametrize("step_s", [1.0, 7.0, 61.0])
def test_the_hours_count_forgets_what_is_older(step_s: float) -> None:
    """An evenly filled hour holds an hour's worth, to a minute."""
    count = HourCount()
    now_s = 0.0
    while now_s < 3 * 3600.0:
        count.add(now_s)
        now_s += step_s
    assert count.total(now_s) == pytest.approx(3600.0 / step_s, abs=60.0 / step_s + 1)
    assert count.total(now_s + 3700.0) == 0
