"""What the core tells the trend of the cabin, and how an estimate is spelt out."""

from dataclasses import dataclass

from cabinvigil.daemon.trend.core_adapter import Trend, trend_setup
from cabinvigil.daemon.trend.model import TrendSetup
from tests.tools.told_nights import KNOWN, NIGHTS, readings


@dataclass(frozen=True)
class Cabin:
    volume_m3: float | None = None
    outdoor_co2_ppm: float | None = None


@dataclass(frozen=True)
class Facts:
    noise: float
    resolution: float
    lag_s: float


def test_each_gas_is_known_by_its_own_parts_and_by_the_poorest_of_them() -> None:
    """Two O2 parts and a CO2 part at the bunk; warmth and a part elsewhere are none."""
    found = trend_setup(
        {
            "o2_pct__one": Facts(0.02, 0.001, 15.0),
            "o2_pct__two": Facts(0.01, 0.1, 20.0),
            "co2_ppm": Facts(10.0, 1.0, 60.0),
            "co_ppm": Facts(70.0, 70.0, 700.0),
            "temp_c": Facts(80.0, 80.0, 800.0),
            "o2_pct_ceiling": Facts(90.0, 90.0, 900.0),
        },
        Cabin(11.0, 430.0),
    )
    assert found == TrendSetup(11.0, 0.02, 0.1, 20.0, 10.0, 1.0, 60.0, 430.0)


def test_what_is_not_known_is_left_to_be_learnt() -> None:
    """A part without figures, and a cabin without any."""
    assert trend_setup({"o2_pct": Facts(0.0, 0.0, 0.0)}, Cabin()) == TrendSetup()


def test_an_estimate_is_spelt_as_the_log_has_it() -> None:
    """Every ask that is told, CO2's only where CO2 is measured."""
    trend = Trend(TrendSetup(volume_m3=11.0))
    for sees in ({"o2_pct", "co2_ppm"}, {"o2_pct"}):
        state, now_s = trend.start(), 0.0
        for now_s, seen in readings(NIGHTS["shut"], "port"):
            values = {key: getattr(seen, key) for key in sees}
            state = trend.update(state, now_s, values)
        found = trend.estimate(state, now_s)
        assert found is not None
        fields = trend.fields(found)
        assert fields["sensors"] == sorted(sees, reverse=True)
        told = {key for key in fields if "_within_" in key}
        wanted = {"o2_below_19_5_within_20min", "o2_below_19_5_within_5min"}
        if "co2_ppm" in sees:
            wanted |= {"co2_above_30000_within_20min", "co2_above_30000_within_5min"}
        assert told == wanted
        assert ("burn_kw" in fields) is ("co2_ppm" in sees)
        assert ("source_ppm_per_h" in fields) is ("co2_ppm" in sees)
        assert fields["o2_settles_pct"] == list(found.o2_settles_pct)
        assert fields["o2_below_19_5_within_20min"] == found.crossings[0].probability


def test_the_example_cabins_air_reaches_the_filter() -> None:
    """Warmth, humidity and pressure come through the port too."""
    trend = Trend(KNOWN)
    state = trend.update(
        trend.start(),
        1.0,
        {
            "o2_pct": 20.8,
            "co2_ppm": 500.0,
            "temp_c": 12.0,
            "rh_pct": 50.0,
            "pressure_hpa": 940.0,
        },
    )
    assert (state.temp_c, state.pressure_hpa) == (12.0, 940.0)
    assert state.vapour is not None
