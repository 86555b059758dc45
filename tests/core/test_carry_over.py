"""A config changed while running: what is known goes on."""

from dataclasses import dataclass
from typing import Any

import pytest

from cabinvigil.daemon.core.model import AlarmState, SourceFault
from cabinvigil.daemon.core.snapshot import carry_over
from tests.core.scenario import Night, cabin, co_level, o2_low, series

S = AlarmState


@pytest.mark.hazard("silenced-by-reload")
def test_a_new_config_takes_what_is_known_along() -> None:
    """Changed while running: air, dose, faults and answers stay; the limits are new."""
    night = Night(cabin(o2_low(), co_level(), keys=["o2_pct", "co_ppm"]))
    night.hold({"o2_pct": 20.9, "co_ppm": 50.0}, 600.0)
    night.take(SourceFault("log", "not-writable", "full"))
    night.act("ack")
    stricter = cabin(o2_low(), co_level(ack_s=60.0), keys=["o2_pct", "co_ppm"])
    state, lost = carry_over(night.state, stricter, night.now)
    assert lost == []
    assert state.setup is stricter
    assert state.history.layout is stricter.layout
    for kept in ("series", "dose", "sources", "started_s", "now"):
        assert getattr(state.history, kept) == getattr(night.state.history, kept)
    assert state.before_s == night.state.before_s
    assert state.standings["co-level"].quiet_until_s == night.now + 60.0


def test_a_series_that_is_another_now_begins_anew() -> None:
    """Another part at the bunk: the old one's readings are not its own."""
    night = Night(cabin(o2_low(), keys=["o2_pct", "temp_c"], trend=Counting()))
    night.hold({"o2_pct": 19.4, "temp_c": 18.0}, 60.0)
    other = series("o2_pct", max_age_s=5.0)
    setup = cabin(o2_low(), keys=[other, "co_ppm"], trend=Counting(1))
    state, _ = carry_over(night.state, setup, night.now)
    assert state.history.value("o2_pct") is None
    assert set(state.history.series) == {"o2_pct", "co_ppm"}
    assert state.standings["o2-low"].state is S.UNACKNOWLEDGED
    assert (state.trend_state, state.history.trend) == (0, None)
    same, _ = carry_over(night.state, night.setup, night.now)
    assert same.trend_state == 6
    assert same.history.trend is not None
    assert same.trend_s == night.state.trend_s


@dataclass(frozen=True)
class Counting:
    """A trend that counts its updates."""

    kind: int = 0

    def start(self) -> Any:
        return 0

    def update(self, state: Any, now_s: float, values: Any) -> Any:
        return state + 1

    def estimate(self, state: Any, now_s: float) -> Any:
        return Estimated()

    def fields(self, estimate: Any) -> dict[str, Any]:
        return {}


@dataclass(frozen=True)
class Estimated:
    o2_rate_pct_per_h: tuple[float, float, float] = (-1.0, 0.0, 1.0)
