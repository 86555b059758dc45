"""Numbers for the sentences, gathered in one way."""

from dataclasses import dataclass, replace

from cabinvigil.daemon.core.history import o2_facts, place_of
from tests.core.scenario import Night, cabin


@dataclass
class Estimate:
    o2_rate_pct_per_h: tuple[float, float, float] = (-1.2, -1.0, -0.8)


def test_oxygen_and_its_rate_where_they_are_known() -> None:
    """The lowest oxygen of all places, and the middle of the trend's rate."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_ceiling"]))
    assert o2_facts(night.state.history) == {}
    night.air({"o2_pct": 20.1, "o2_pct_ceiling": 20.5})
    assert o2_facts(night.state.history) == {"o2_pct": 20.1}
    history = replace(night.state.history, trend=Estimate())
    assert o2_facts(history) == {"o2_pct": 20.1, "rate_pct_per_h": -1.0}


def test_a_series_is_named_by_its_part() -> None:
    """People know the part; an unknown key is its own name."""
    history = Night(cabin(keys=["o2_pct"])).state.history
    assert place_of(history, "o2_pct") == "the-o2_pct"
    assert place_of(history, "co_ppm") == "co_ppm"
