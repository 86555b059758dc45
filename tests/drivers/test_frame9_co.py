"""The CO module: its range is read, its zero taken off, its blind ends told."""

import math

import pytest

from cabinvigil.drivers import frame9_co
from cabinvigil.drivers.kit import frame9
from cabinvigil.drivers.kit.steps import CellDeadError, CrcError, Sample, WrongPartError


def _upload(tenths: int, full: int = 5000) -> bytes:
    body = bytes([4, 3, 1, *tenths.to_bytes(2, "big"), *full.to_bytes(2, "big")])
    return b"\xff" + body + bytes([-sum(body) & 0xFF])


def test_upload() -> None:
    """0.1 ppm a count, as the frame's own decimals say."""
    assert frame9_co.make({}).feed(_upload(350)) == [Sample("co_ppm", 35.0)]


def test_full_scale_is_at_least() -> None:
    """At the frame's own range the truth may be more; above it too."""
    part = frame9_co.make({})
    for tenths in (5000, 6000):
        (sample,) = part.feed(_upload(tenths))
        assert (sample.quality, sample.value) == ("at-least", tenths / 10)
    assert part.feed(_upload(4999))[0].quality == "good"


def test_full_scale_of_answers_is_the_configs() -> None:
    """Answers do not tell their range: 500 ppm unless the config says otherwise."""
    asked = {"mode": "question", "answer_ppm": 0.1}
    answer = bytes.fromhex("ff86138800000000df")
    frame9.check(answer)
    assert frame9_co.make(asked).feed(answer)[0].quality == "at-least"
    wide = frame9_co.make(asked | {"full_scale_ppm": 1000})
    assert wide.feed(answer) == [Sample("co_ppm", 500.0)]


def _answer(counts: int) -> bytes:
    body = b"\x86" + counts.to_bytes(2, "big") + bytes(4)
    return b"\xff" + body + bytes([-sum(body) & 0xFF])


def test_d1_a_module_that_is_asked_has_no_scale_unless_the_config_says_it() -> None:
    """One family counts 0.1 ppm, another 1 ppm: 200 ppm were read as 20."""
    with pytest.raises(ValueError, match=r"answer_ppm: needed .* 0\.1 or 1"):
        frame9_co.make({"mode": "question"})
    for step_ppm in (0.1, 1.0):
        asked = {"mode": "question", "answer_ppm": step_ppm}
        (found,) = frame9_co.make(asked).feed(_answer(200))
        assert (found.value, found.quality) == (pytest.approx(200 * step_ppm), "good")


def test_d1_a_frame_of_the_other_family_is_refused_as_such() -> None:
    """Asked, it once sent by itself, and that frame named another step."""
    whole_ppm = bytes([4, 3, 0, 0, 35, 1, 0xF4])
    upload = b"\xff" + whole_ppm + bytes([-sum(whole_ppm) & 0xFF])
    part = frame9_co.make({"mode": "question", "answer_ppm": 0.1})
    with pytest.raises(WrongPartError, match=r"count by 1, .* by 0\.1: .* family"):
        part.feed(upload)
    right = frame9_co.make({"mode": "question", "answer_ppm": 1})
    assert right.feed(upload) == [Sample("co_ppm", 35.0)]
    assert frame9_co.make({}).feed(upload) == [Sample("co_ppm", 35.0)]


@pytest.mark.parametrize("counts", [0x8000, 0x8000 + 350])
def test_d2_a_fault_bit_is_a_fault_and_no_gas(counts: int) -> None:
    """Bit 7 of the high byte read as 3,277 ppm; no range of the part needs it."""
    asked = {"mode": "question", "answer_ppm": 0.1}
    with pytest.raises(CellDeadError, match="its cell has failed"):
        frame9_co.make(asked).feed(_answer(counts))
    with pytest.raises(CellDeadError, match="its cell has failed"):
        frame9_co.make({}).feed(_upload(counts))


def test_d2_where_the_range_needs_the_bit_it_is_gas() -> None:
    """4,000 ppm in steps of 0.1 are 40,000 counts."""
    wide = {"mode": "question", "answer_ppm": 0.1, "full_scale_ppm": 5000}
    assert frame9_co.make(wide).feed(_answer(40_000)) == [Sample("co_ppm", 4000.0)]
    assert frame9_co.make({}).feed(_upload(40_000, 50_000))[0].value == 4000.0


def test_zero_is_taken_off_not_cropped() -> None:
    """A zero of 2 ppm is taken off, and a rest below 0 is left to be seen."""
    part = frame9_co.make({"zero_ppm": 2.0})
    assert part.feed(_upload(350)) == [Sample("co_ppm", 33.0)]
    assert part.feed(_upload(10)) == [Sample("co_ppm", -1.0)]


@pytest.mark.parametrize(
    ("quantity", "value"), [("temp_c", -10.1), ("temp_c", 55.1), ("rh_pct", 14.0)]
)
def test_outside_its_air(quantity: str, value: float) -> None:
    """Below -10 °C and 15 % humidity its maker promises nothing (2023 manual)."""
    part = frame9_co.make({})
    part.inform(quantity, value)
    assert part.feed(_upload(0))[0].quality == "outside-range"


def test_at_least_outweighs_cold() -> None:
    """A reading at full scale is no less so in the cold."""
    part = frame9_co.make({})
    part.inform("temp_c", -20.0)
    assert part.feed(_upload(5000))[0].quality == "at-least"


def test_oxygen_module_on_the_port() -> None:
    """An oxygen module's 20.9 must never be read as CO."""
    with pytest.raises(WrongPartError, match="gas code is 05, one for CO sends 04"):
        frame9_co.make({}).feed(bytes.fromhex("ff05040100d100fa2b"))


def test_an_answer_that_nobody_asked_for_is_no_reading() -> None:
    """A CO2 module's 600 ppm must never be read as 60 ppm of CO: it names no gas."""
    answer = bytes.fromhex("ff86025800000000")
    answer += bytes([-sum(answer[1:]) & 0xFF])
    frame9.check(answer)
    with pytest.raises(WrongPartError, match="names no gas"):
        frame9_co.make({}).feed(answer)


def test_errors_never_repeat_a_value() -> None:
    """After a good frame, a spoilt one gives an error and nothing else."""
    part = frame9_co.make({})
    part.feed(_upload(350))
    with pytest.raises(CrcError):
        part.feed(_upload(350)[:-1] + b"\0")
    assert part.feed(b"") == []


def shown(temps: list[float], **options: object) -> float:
    """What 30 ppm of its own make, once it was told these temperatures."""
    part = frame9_co.make(options)
    for temp_c in temps:
        part.inform("temp_c", temp_c)
    (sample,) = part.feed(_upload(300))
    return sample.value


def test_the_cold_is_corrected_as_a_bare_cells_is() -> None:
    """At -9.9 °C a cell gives 68 % of what it gives at 20 °C: 30 shown are 44."""
    assert shown([-9.9]) == pytest.approx(44.0, abs=0.1)
    assert shown([20.0]) == shown([35.0]) == 30.0
    assert shown([-9.9], zero_ppm=2.0) == pytest.approx(41.1, abs=0.1)


def test_where_its_sheet_says_compensated_nothing_is_corrected() -> None:
    """Its own thermometer has done it."""
    assert shown([-9.9], compensated=True) == 30.0
    with pytest.raises(ValueError, match="compensated: 'yes' is neither true nor"):
        frame9_co.make({"compensated": "yes"})


def test_a_thermometer_that_died_leaves_the_cold_factor() -> None:
    """A cabin may have grown cold since; without one its word stands."""
    assert shown([18.0, math.nan]) == pytest.approx(30.0 / 0.575)
    assert shown([]) == 30.0
