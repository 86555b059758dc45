"""The CO module: its range is read, its zero taken off, its blind ends told."""

import pytest

from cabinvigil.drivers import frame9_co
from cabinvigil.drivers.kit import frame9
from cabinvigil.drivers.kit.steps import CrcError, Sample, WrongPartError


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
    answer = bytes.fromhex("ff86138800000000df")
    frame9.check(answer)
    assert frame9_co.make({}).feed(answer)[0].quality == "at-least"
    wide = frame9_co.make({"full_scale_ppm": 1000})
    assert wide.feed(answer) == [Sample("co_ppm", 500.0)]


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


def test_errors_never_repeat_a_value() -> None:
    """After a good frame, a spoilt one gives an error and nothing else."""
    part = frame9_co.make({})
    part.feed(_upload(350))
    with pytest.raises(CrcError):
        part.feed(_upload(350)[:-1] + b"\0")
    assert part.feed(b"") == []
