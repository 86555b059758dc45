"""The trend as the core sees it: ruling values in, an estimate and its spelling out."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

from cabinvigil.daemon.trend import zone_filter
from cabinvigil.daemon.trend.model import Observation, TrendEstimate, TrendSetup


class TrendCabin(Protocol):
    """What the trend wants to know of a cabin; None is unknown."""

    @property
    def volume_m3(self) -> float | None:
        """Air volume."""
        ...

    @property
    def outdoor_co2_ppm(self) -> float | None:
        """CO2 outside."""
        ...


class SeriesFacts(Protocol):
    """What the trend wants to know of a series; 0 is unknown."""

    @property
    def noise(self) -> float:
        """Standard deviation of one value."""
        ...

    @property
    def resolution(self) -> float:
        """Smallest step."""
        ...

    @property
    def lag_s(self) -> float:
        """First-order lag."""
        ...


def trend_setup(series: Mapping[str, SeriesFacts], cabin: TrendCabin) -> TrendSetup:
    """Report the trend what is known of the cabin and of the parts at the bunk."""
    facts: dict[str, Any] = {"volume_m3": cabin.volume_m3}
    if cabin.outdoor_co2_ppm is not None:
        facts["outdoor_co2_ppm"] = cabin.outdoor_co2_ppm
    for channel, word, unit in (("o2_pct", "o2", "pct"), ("co2_ppm", "co2", "ppm")):
        own = [s for key, s in series.items() if key.split("__")[0] == channel]
        if own:
            facts[f"{word}_noise_{unit}"] = max(s.noise for s in own) or None
            facts[f"{word}_step_{unit}"] = max(s.resolution for s in own) or None
            facts[f"{word}_lag_s"] = max(s.lag_s for s in own) or None
    return TrendSetup(**facts)


@dataclass(frozen=True, slots=True)
class Trend:
    """The zone filter behind the core's port."""

    setup: TrendSetup

    def start(self) -> Any:
        """Return the filter's first state."""
        return zone_filter.start(self.setup)

    def update(self, state: Any, now_s: float, values: Mapping[str, float]) -> Any:
        """Take this tick's ruling values at the bunk, by quantity."""
        seen = Observation(
            values.get("o2_pct"),
            values.get("co2_ppm"),
            values.get("temp_c"),
            values.get("rh_pct"),
            values.get("pressure_hpa"),
            values.get("o2_off_pct", 0.0),
        )
        return zone_filter.update(self.setup, state, now_s, seen)

    def reanchor(self, state: Any, quantities: frozenset[str]) -> Any:
        """Begin again with another part's readings of these quantities."""
        return zone_filter.reanchor(state, quantities)

    def estimate(self, state: Any, now_s: float) -> TrendEstimate | None:
        """Return what the air does, or None where it cannot be told yet."""
        return zone_filter.estimate(self.setup, state, now_s)

    def fields(self, estimate: TrendEstimate) -> dict[str, Any]:
        """Format an estimate as the log and the replay do (design.md, section 3)."""
        fields: dict[str, Any] = {
            "o2_rate_pct_per_h": list(estimate.o2_rate_pct_per_h),
            "o2_minutes_to_19_5": None
            if estimate.o2_minutes is None
            else list(estimate.o2_minutes),
            "o2_settles_pct": list(estimate.o2_settles_pct),
            "air_changes_per_h": list(estimate.air_changes_per_h),
        }
        for crossing in estimate.crossings:
            ask = crossing.ask
            if not ask.is_told or (
                ask.quantity == "co2_ppm" and estimate.co2_ppm is None
            ):
                continue
            word = "o2" if ask.quantity == "o2_pct" else "co2"
            limit = f"{ask.limit:g}".replace(".", "_")
            key = f"{word}_{ask.side}_{limit}_within_{ask.horizon_s / 60.0:g}min"
            fields[key] = crossing.probability
        if estimate.co2_ppm is not None:
            fields["source_ppm_per_h"] = list(estimate.source_ppm_per_h)
        if estimate.burn_kw is not None:
            fields["burn_kw"] = list(estimate.burn_kw)
        fields["sensors"] = list(estimate.sensors)
        return fields
