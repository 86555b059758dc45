"""What CO2 parts share: ends, doubt, pressure told, self-calibration off."""

import pytest

from cabinvigil.drivers.kit import co2
from cabinvigil.drivers.kit.conditions import Conditions
from cabinvigil.drivers.kit.steps import CalibrationError, NotMeasuredError, Transfer
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import play

AIR = (0.0, 50.0), (0.0, 95.0)


def test_molecules_are_turned_into_a_share() -> None:
    """1.6 % a kPa, by hand: at 913.25 hPa, 10 kPa lower, 84 % are shown."""
    assert co2.corrected(840.0, 913.25) == pytest.approx(1000.0)
    assert co2.corrected(840.0, None) == 840.0
    assert co2.corrected(840.0, 1013.25) == 840.0
    thin = 840.0 / (1 - 0.016 * 31.325)
    assert co2.corrected(840.0, 700.0) == pytest.approx(thin)
    assert co2.corrected(840.0, 300.0) == pytest.approx(thin)


@pytest.mark.parametrize(("ppm", "quality"), [(4999.0, "good"), (5000.0, "at-least")])
def test_the_scales_end(ppm: float, quality: str) -> None:
    """There the truth may be more, by what is shown and not by what it is of air."""
    found = co2.co2_sample(ppm, 5000.0, ("good", ""), 6000.0)
    assert (found.value, found.quality) == (6000.0, quality)
    doubted = co2.co2_sample(ppm, 5000.0, ("outside-range", "cold"))
    assert doubted.value == ppm
    assert doubted.quality == ("at-least" if quality == "at-least" else "outside-range")


def test_no_air_has_none() -> None:
    """0 ppm is what a part shows that has not measured; 1 is for others to refuse."""
    with pytest.raises(NotMeasuredError, match="0 ppm"):
        co2.co2_sample(0.0, 5000.0, ("good", ""))
    assert co2.co2_sample(1.0, 5000.0, ("good", "")).value == 1.0


@pytest.mark.parametrize(
    ("temp_c", "rh_pct", "doubt", "why"),
    [
        (20.0, 50.0, "", ""),
        (20.0, 50.0, "it is the first", "it is the first"),
        (-1.0, 50.0, "it is the first", "at -1.0 °C it is below 0"),
        (20.0, 96.0, "", "at 96.0 % humidity it is above 95"),
    ],
)
def test_its_own_air_is_its_doubt(
    temp_c: float, rh_pct: float, doubt: str, why: str
) -> None:
    """All three are doubted at once, for the air's sake before another's."""
    found = co2.with_own_air(600.0, temp_c, rh_pct, 5000.0, Conditions(*AIR), doubt)
    assert [s.value for s in found] == [600.0, temp_c, rh_pct]
    assert {s.quality for s in found} == {"outside-range" if why else "good"}
    assert all(s.reason.startswith(why) for s in found)


def test_pressure_is_due_until_it_is_sent_and_when_it_has_moved() -> None:
    """Both ends of what the part takes, and the step from which it is told anew."""
    one = co2.PressureToTell((700.0, 1200.0), 3)
    assert (one.due(), one.hpa) == (None, None)
    for outside in (699.9, 1200.1, float("nan")):
        one.inform("pressure_hpa", outside)
    one.inform("temp_c", 900.0)
    assert one.due() is None
    one.inform("pressure_hpa", 1200.0)
    assert one.due() == 1200
    one.inform("pressure_hpa", 700.0)
    assert one.due() == one.hpa == 700
    one.sent(700)
    assert one.due() is None
    one.inform("pressure_hpa", 702.4)
    assert one.due() is None
    one.inform("pressure_hpa", 703.0)
    assert one.due() == 703
    one.sent(703)
    one.sent(None)
    assert one.due() == 703


GET = Transfer(bytes.fromhex("1234"), 3, 0.02)
SET = Transfer(bytes.fromhex("5678000081"), 0, 0.02)


def test_self_calibration_is_written_only_where_it_is_on() -> None:
    """And read back, since a part that drifts low must not be trusted."""
    off, on = with_crc(0), with_crc(1)
    assert not play(co2.self_calibration_off(0x1234, 0x5678, 0.02), [(GET, off)])
    script = [(GET, on), (SET, b""), (GET, off)]
    assert play(co2.self_calibration_off(0x1234, 0x5678, 0.02), script)
    with pytest.raises(CalibrationError, match="stays on though switched off"):
        play(co2.self_calibration_off(0x1234, 0x5678, 0.02), [*script[:2], (GET, on)])


def test_targets() -> None:
    """Both ends are taken, what lies beyond is no air."""
    for ppm in (400, 2000):
        assert co2.checked_target(ppm, 400, 2000) == ppm
    for ppm in (399, 2001):
        with pytest.raises(CalibrationError, match=r"outside 400 to 2000 ppm: fresh"):
            co2.checked_target(ppm, 400, 2000)


def test_corrections() -> None:
    """7fce is -50, ffff a failure (SCD4x v1.3, table 18)."""
    assert co2.correction_ppm(0x7FCE) == -50
    assert co2.correction_ppm(0x8000) == 0
    with pytest.raises(CalibrationError, match="three minutes"):
        co2.correction_ppm(0xFFFF)
