"""The infrared CO2 module: self-calibration off, pressure corrected, ends told."""

import pytest

from cabinvigil.drivers import frame9_co2
from cabinvigil.drivers.kit.frame9 import spell
from cabinvigil.drivers.kit.steps import (
    CalibrationError,
    CrcError,
    NotMeasuredError,
    OutOfRangeError,
    Sample,
    WrongPartError,
)

ANSWER = bytes.fromhex("ff86026047000000d1")


def _answer(ppm: int) -> bytes:
    body = bytes([0x86, *ppm.to_bytes(2, "big"), 0x47, 0, 0, 0])
    return b"\xff" + body + bytes([-sum(body) & 0xFF])


def test_asking() -> None:
    """Self-calibration is switched off at each opening, then it is asked."""
    part = frame9_co2.make({})
    assert part.opening() == bytes.fromhex("ff0179000000000086")
    assert part.request() == bytes.fromhex("ff0186000000000079")
    assert part.feed(ANSWER) == [Sample("co2_ppm", 608.0)]


def test_acknowledgement_is_no_value() -> None:
    """Some modules repeat the setting command: it carries no value."""
    assert frame9_co2.make({}).feed(bytes.fromhex("ff7901000000000086")) == []


def test_pressure_is_corrected() -> None:
    """1.6 % a kPa: at 939 hPa, 7.425 kPa lower, 608 are 690 ppm, by hand."""
    part = frame9_co2.make({})
    part.inform("pressure_hpa", 939.0)
    assert part.feed(ANSWER)[0].value == pytest.approx(608 / (1 - 0.016 * 7.425))
    part.inform("pressure_hpa", float("nan"))
    assert part.feed(ANSWER)[0].value == pytest.approx(690.0, abs=0.1)


def test_full_scale() -> None:
    """At the module's range the truth may be more; the range is the config's."""
    assert frame9_co2.make({}).feed(_answer(5000))[0].quality == "at-least"
    assert frame9_co2.make({}).feed(_answer(4999))[0].quality == "good"
    wide = frame9_co2.make({"full_scale_ppm": 10000})
    assert wide.feed(_answer(5000))[0].quality == "good"


def test_impossible() -> None:
    """0 ppm and 65 535 ppm are no air, though their checksums are right."""
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        frame9_co2.make({}).feed(_answer(0))
    with pytest.raises(OutOfRangeError, match="65535"):
        frame9_co2.make({}).feed(_answer(65535))


def test_other_module() -> None:
    """A CO module's frame is named, not read."""
    with pytest.raises(WrongPartError):
        frame9_co2.make({}).feed(bytes.fromhex("ff040301015e1388fe"))


def test_outside_its_air() -> None:
    """Below -10 °C its maker promises nothing."""
    part = frame9_co2.make({})
    part.inform("temp_c", -11.0)
    assert part.feed(ANSWER)[0].quality == "outside-range"


def test_zero_and_span_are_never_sent_by_themselves() -> None:
    """Nothing that the running part sends changes its calibration for good."""
    part = frame9_co2.make({})
    sent = {part.opening()[2], part.request()[2]}
    assert not sent & {frame9_co2.ZERO, frame9_co2.SPAN}
    assert frame9_co2.zero_command() == spell(0x87)


@pytest.mark.parametrize("target", [0, 999, 5001, 70000])
def test_span_refuses_targets(target: int) -> None:
    """A span at a target that the module does not take is not spelled."""
    with pytest.raises(CalibrationError, match="outside 1000 to 5000 ppm"):
        frame9_co2.span_command(target)


def test_errors_never_repeat_a_value() -> None:
    """After a good frame, a spoilt one gives an error and nothing else."""
    part = frame9_co2.make({})
    part.feed(ANSWER)
    with pytest.raises(CrcError):
        part.feed(ANSWER[:-1] + b"\0")
    assert part.feed(b"") == []


def test_opening_forgets_half_a_frame() -> None:
    """After the port was opened again, the old half frame spoils nothing."""
    part = frame9_co2.make({})
    part.feed(ANSWER + ANSWER[:5])
    part.opening()
    assert part.feed(ANSWER) == [Sample("co2_ppm", 608.0)]
