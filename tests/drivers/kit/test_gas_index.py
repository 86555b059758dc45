"""The gas index, against Sensirion's own package and figures recorded from it."""

import random
from collections.abc import Iterator

import pytest

from cabinvigil.drivers.kit.gas_index import NOX, VOC, Figures, GasIndex


def test_recorded_figures() -> None:
    """Constant air settles at 100 and 1; 60 s at 1000 ticks less make VOC 187.

    Recorded from sensirion-gas-index-algorithm 3.2.2 (vectors.toml, gas_index).
    """
    voc, nox = GasIndex(VOC), GasIndex(NOX)
    assert [voc.process(30000) for _ in range(600)][-1] == 100
    assert [nox.process(15000) for _ in range(600)][-1] == 1
    assert [voc.process(29000) for _ in range(60)][-1] == 187


def test_blackout() -> None:
    """The first 46 steps give none."""
    voc = GasIndex(VOC)
    assert [voc.process(30000) for _ in range(46)] == [0] * 46
    assert voc.process(30000) > 0


@pytest.mark.parametrize("figures", [VOC, NOX])
@pytest.mark.parametrize("raw", [0, 1, 65535])
def test_any_ticks_stay_on_the_scale(figures: Figures, raw: int) -> None:
    """Whatever comes, the index stays within 1 to 500."""
    index = GasIndex(figures)
    found = [index.process(raw) for _ in range(200)] + [index.process(65535 - raw)]
    assert all(1 <= value <= 500 for value in found[46:])


def _walk(usual: int, seed: int, steps: int) -> Iterator[int]:
    """Air that wanders, with sudden gas now and then, and a long bad stretch."""
    luck = random.Random(seed)
    ticks = float(usual)
    for step in range(steps):
        ticks += luck.gauss(0, 15)
        if luck.random() < 0.0005:
            ticks += luck.choice([-3000, 3000, -800, 800])
        ticks = min(max(ticks, usual - 9000), usual + 9000)
        yield int(ticks) + (6000 if usual < 20000 and step > steps // 2 else 0)


@pytest.mark.parametrize("seed", [0, 1])
@pytest.mark.parametrize(("name", "usual"), [("voc", 30000), ("nox", 15000)])
def test_maker(name: str, usual: int, seed: int) -> None:
    """The maker's package gives the same to 1 over four hours.

    It computes with 32 bits, we with 64: a rounding may fall to the other side.
    """
    pytest.importorskip("sensirion_gas_index_algorithm")
    module = f"sensirion_gas_index_algorithm.{name}_algorithm"
    theirs = getattr(__import__(module, fromlist=["x"]), f"{name.title()}Algorithm")()
    ours = GasIndex({"voc": VOC, "nox": NOX}[name])
    pairs = [(ours.process(x), theirs.process(x)) for x in _walk(usual, seed, 15000)]
    assert max(abs(one - other) for one, other in pairs) <= 1
    assert sum(one != other for one, other in pairs) < len(pairs) / 50
    assert max(other for _, other in pairs) > 120  # the walk met bad air


def test_long_bad_air_becomes_usual() -> None:
    """After three hours above the gate, bad air is learnt and the index comes down.

    So it must never be an alarm's ground.  The maker's package: 500, then 351.
    """
    voc = GasIndex(VOC)
    usual = [voc.process(30000) for _ in range(9000)]
    bad = [voc.process(27000) for _ in range(25000)]
    assert usual[-1] == 100
    assert bad[3 * 3600] == 500
    assert bad[-1] == pytest.approx(351, abs=1)
