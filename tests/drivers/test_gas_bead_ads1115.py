"""Beads in a bridge: a dead bridge is no clean air, and rich air no thin one."""

from typing import Any

import pytest

from cabinvigil.drivers import gas_bead_ads1115 as part
from cabinvigil.drivers.kit.ads1115 import CONVERT_S, Input
from cabinvigil.drivers.kit.steps import (
    CellDeadError,
    OutOfRangeError,
    Sample,
    Transfer,
)
from tests.wire import Line, play

ARM = "c303"
"""AIN0 against ground at 4.096 V, one slow conversion (register map)."""
PAIR = "8b03"
"""AIN0 against AIN1 at 0.256 V (as recorded for the cells)."""
HALF_COUNTS = 11_200
"""1400 mV at 0.125 mV a count: the middle of a bridge of 2.8 V."""


def _conversion(config: str, counts: int) -> list[Line]:
    once: list[Line] = [
        (Transfer(b"\x01" + bytes.fromhex(config), 0, CONVERT_S), b""),
        (Transfer(b"\x01", 2), bytes.fromhex(config)),
        (Transfer(b"\x00", 2), counts.to_bytes(2, "big", signed=True)),
    ]
    return once * 3


def _script(counts: int, pair: str = PAIR, arm: int = HALF_COUNTS) -> list[Line]:
    return _conversion(ARM, arm) + _conversion(pair, counts)


def _poll(counts: int, pair: str = PAIR, **options: Any) -> Sample:
    (found,) = play(part.make(options).poll(), _script(counts, pair))
    return found


def test_the_settings_are_the_register_maps() -> None:
    """Multiplexer in bits 14 to 12, gain in bits 11 to 9 (SBAS444)."""
    assert Input("0", 4096).config.hex() == ARM
    assert Input("0-1", 256).config.hex() == PAIR


def test_ten_percent_of_the_limit() -> None:
    """25 mV for 1 % of propane, whose limit is 1.7 %: 4.25 mV, 544 counts, by hand."""
    assert _poll(544) == Sample("gas_lel_pct", pytest.approx(10.0))
    assert _poll(544, mv_per_lel_pct=0.85).value == pytest.approx(5.0)
    assert _poll(544, zero_mv=2.125).value == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("mv_per_lel_pct", "zero_mv", "scale_mv", "pair"),
    [
        (0.425, 0.0, 256, "8b03"),
        (1.9, 0.0, 256, "8b03"),
        (2.0, 0.0, 512, "8903"),
        (1.9, -10.0, 512, "8903"),
        (3.9, 0.0, 512, "8903"),
        (7.0, 0.0, 1024, "8703"),
        (15.0, 30.0, 2048, "8503"),
        (20.0, 30.0, 4096, "8303"),
    ],
)
def test_the_converter_takes_the_finest_range_that_holds_the_limit(
    mv_per_lel_pct: float, zero_mv: float, scale_mv: int, pair: str
) -> None:
    """And a third more; with it goes what one count stands for."""
    options = {"mv_per_lel_pct": mv_per_lel_pct, "zero_mv": zero_mv}
    (step,) = part.steps(options).values()
    assert step == pytest.approx(scale_mv / 32768 / mv_per_lel_pct)
    found = _poll(round(zero_mv / scale_mv * 32768), pair, **options)
    assert found.value == pytest.approx(0.0, abs=0.05)


def test_its_default_step_is_the_registrys() -> None:
    """One count of 7.8 µV at 0.425 mV for each % LEL."""
    (step,) = part.steps({}).values()
    assert step == pytest.approx(part.PART.gives["gas_lel_pct"].resolution, abs=1e-4)


@pytest.mark.parametrize("pins", ["2-3", "1-3"])
def test_other_inputs(pins: str) -> None:
    """The first is where the beads meet, and is looked at alone."""
    made = part.make({"pins": pins})
    arm = Input(pins[0], 4096).config.hex()
    pair = Input(pins, 256).config.hex()
    script = _conversion(arm, HALF_COUNTS) + _conversion(pair, 544)
    (found,) = play(made.poll(), script)
    assert found.value == pytest.approx(10.0)


def test_a_lone_input_is_no_bridge() -> None:
    """Half the supply would be read as gas."""
    with pytest.raises(ValueError, match="pins: '0' is none of 0-1, 0-3, 1-3, 2-3"):
        part.make({"pins": "0"})


@pytest.mark.parametrize("arm_mv", [0.0, 979.0, 1821.0, 2800.0])
def test_a_bridge_without_power_or_with_a_broken_bead_is_no_clean_air(
    arm_mv: float,
) -> None:
    """Both sides at nothing differ by nothing, which would read as 0 % LEL."""
    script = _conversion(ARM, round(arm_mv / 0.125))
    with pytest.raises(CellDeadError, match="where 1400 belong: it has no power"):
        play(part.make({}).poll(), script)


@pytest.mark.parametrize("arm_mv", [980.0, 1820.0])
def test_two_beads_may_differ(arm_mv: float) -> None:
    """From 35 to 65 % of the supply, 2.8 V unless the config says otherwise."""
    script = _script(544, arm=round(arm_mv / 0.125))
    (found,) = play(part.make({}).poll(), script)
    assert found.value == pytest.approx(10.0)


def test_the_bridges_own_supply() -> None:
    """One of 2 V (VQ10) has its middle at 1 V."""
    script = _script(544, arm=8000)
    assert play(part.make({"bridge_mv": 2000}).poll(), script)[0].value > 9.9
    with pytest.raises(CellDeadError, match="1000 mV, where 2000 belong"):
        play(part.make({"bridge_mv": 4000}).poll(), _conversion(ARM, 8000))


def test_a_moved_zero_is_told() -> None:
    """MC113 drifts by 2 mV a year: below nothing it is a fault, and never less gas."""
    assert _poll(-108).value == pytest.approx(-1.985, abs=0.01)
    with pytest.raises(OutOfRangeError, match="its zero has moved"):
        _poll(-110)


def test_past_the_limit_it_counts_as_there_for_ten_minutes() -> None:
    """In richer air the bead burns less, and its signal falls back to nothing."""
    made = part.make({})

    def reads(counts: int) -> Sample:
        (found,) = play(made.poll(), _script(counts))
        return found

    over = Sample(
        "gas_lel_pct", 100.0, "at-least", "it is at the explosive limit, or beyond"
    )
    assert reads(5439).quality == "good"
    assert reads(5440) == over
    assert reads(32767) == over
    held = [reads(0) for _ in range(part.HOLD_POLLS)]
    assert {(one.value, one.quality) for one in held} == {(100.0, "at-least")}
    assert "its signal falls back" in held[0].reason
    assert part.HOLD_POLLS * part.PART.interval_s == 600.0
    assert reads(0) == Sample("gas_lel_pct", 0.0)


def test_beyond_its_air() -> None:
    """-40 to 70 °C, 95 % humidity (MC113)."""
    made = part.make({})
    made.inform("rh_pct", 96.0)
    assert play(made.poll(), _script(0))[0].quality == "outside-range"
    made.inform("rh_pct", 95.0)
    made.inform("temp_c", -40.0)
    assert play(made.poll(), _script(0))[0].quality == "good"


def test_setup_and_the_signal_alone() -> None:
    """The converter is told by its thresholds; the zero is taken from millivolts."""
    thresholds: list[Line] = [
        (Transfer(b"\x02", 2), b"\x80\x00"),
        (Transfer(b"\x03", 2), b"\x7f\xff"),
    ]
    made = part.make({})
    play(made.setup(), thresholds)
    assert play(made.read_mv(), _script(-640)) == -5.0
