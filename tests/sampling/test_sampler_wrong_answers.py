"""Samplers of polled parts: parts that answer, but wrongly."""

from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.sampler import (
    BACK_OFF_CAP_S,
)
from cabinvigil.drivers import part as find_part
from tests.emulation import Fails, live
from tests.sampling.three_parts import I2C, gaps


def test_a_flipped_bit_in_every_answer_is_a_checksum_fault(tmp_path: Path) -> None:
    """Nothing false is delivered; the fault is told within the age limit."""
    cabin = run_virtual(
        live(tmp_path, {"air": "sht4x"}, 500.0, Fails("air", "flip", 200.0, 300.0))
    )
    (lost_s, kind), (found_s, over) = cabin.told("air")
    assert (kind, over) == ("checksum", "")
    assert lost_s < 200.0 + find_part("sht4x").max_age_s
    assert found_s < 300.0 + BACK_OFF_CAP_S + 1.0
    assert not [t for t, _ in cabin.of("air", "rh_pct") if lost_s < t < 300.0]


@pytest.mark.parametrize(
    ("fault", "words"), [("zeros", "held low"), ("ones", "open line")]
)
def test_a_dead_line_is_named(tmp_path: Path, fault: str, words: str) -> None:
    """All zeros or all ones fail the checksum, and the sentence says which (row 8)."""
    cabin = run_virtual(
        live(tmp_path, {"air": "sht4x"}, 260.0, Fails("air", fault, 200.0, 300.0))
    )
    (fault_event,) = [e for _, e in cabin.events if isinstance(e, SourceFault)]
    assert words in fault_event.text


def test_another_part_in_its_place_is_not_believed(tmp_path: Path) -> None:
    """Another identity at the address: told, never read, until ours is back."""
    cabin = run_virtual(
        live(tmp_path, I2C, 700.0, Fails("baro", "identity", 300.0, 400.0))
    )
    (_, kind), (found_s, over) = cabin.told("baro")
    assert (kind, over) == ("wrong-part", "")
    times = [t for t, _ in cabin.of("baro", "pressure_hpa")]
    assert not [t for t in times if 300.0 < t < 400.0]
    assert [t for t in times if t > found_s]


@pytest.mark.parametrize(
    ("name", "quantity"), [("baro", "pressure_hpa"), ("co2", "co2_ppm")]
)
def test_a_part_that_lost_its_mode_is_set_up_again(
    tmp_path: Path, name: str, quantity: str
) -> None:
    """After one brown-out readings go on within a few intervals, without a fault."""
    cabin = run_virtual(live(tmp_path, I2C, 600.0, Fails(name, "reset", 300.0, 301.0)))
    interval_s = find_part(I2C[name]).interval_s
    assert max(gaps(cabin, name, quantity)) < 5 * interval_s + 1.0
    assert cabin.told(name) == []


def test_brown_outs_again_and_again_are_a_fault(tmp_path: Path) -> None:
    """Four losses of mode within the hour: the supply is to be looked at (row 14)."""
    spans = [Fails("co2", "reset", 300.0 * n, 300.0 * n + 1.0) for n in range(1, 6)]
    cabin = run_virtual(live(tmp_path, {"co2": "scd4x"}, 1800.0, *spans))
    assert [kind for _, kind in cabin.told("co2")] == ["not-measured"]
    assert cabin.of("co2", "co2_ppm")[-1][0] > 1750.0  # and values go on
