"""The infrared CO2 module: self-calibration off, pressure corrected, ends told."""

import math

import pytest

from cabinvigil.drivers import frame9_co2
from cabinvigil.drivers.kit.frame9 import spell
from cabinvigil.drivers.kit.steps import (
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
    part.inform("pressure_hpa", math.inf)
    assert part.feed(ANSWER)[0].value == pytest.approx(690.0, abs=0.1)
    part.inform("pressure_hpa", math.nan)  # nobody gives it any more
    assert part.feed(ANSWER)[0].value == pytest.approx(608.0)


@pytest.mark.parametrize("hpa", [300.0, 388.25, 700.0])
def test_thin_air(hpa: float) -> None:
    """A straight line of 1.6 % a kPa ends at 388.25 hPa: it is kept to 700 hPa."""
    part = frame9_co2.make({})
    part.inform("pressure_hpa", hpa)
    assert part.feed(ANSWER)[0].value == pytest.approx(608 / (1 - 0.016 * 31.325))


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


def test_self_calibration_is_kept_off() -> None:
    """Hourly it is switched off anew: a short loss of power brings it back unseen.

    Nothing else is ever sent unasked: a zero (87) or span (88) cannot be taken back.
    """
    part = frame9_co2.make({})
    for _ in range(2):
        part.opening()
        sent = [part.request() for _ in range(1440)]
        assert sent[719] == sent[1439] == spell(0x79, 0) + spell(0x86)
        assert {*sent[:719], *sent[720:1439]} == {spell(0x86)}


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
