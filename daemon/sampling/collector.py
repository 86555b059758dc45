"""Keeps what samplers give, for whoever takes a short look at the parts."""

from dataclasses import dataclass, field

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.drivers.kit.steps import Sample


@dataclass
class SampleCollector:
    """Keeps everything that samplers give."""

    clock: Clock
    readings: dict[tuple[str, str], list[tuple[float, Sample]]] = field(
        default_factory=dict
    )
    """By part and quantity: (moment, sample), the oldest first."""
    faults: dict[str, SourceFault] = field(default_factory=dict)
    """What is at fault now, by source."""

    def on_reading(self, part: str, samples: list[Sample], at_s: float) -> None:
        """Keep what a part gave."""
        for sample in samples:
            kept = self.readings.setdefault((part, sample.quantity), [])
            kept.append((at_s, sample))

    def on_event(self, event: SourceFault | SourceOk) -> None:
        """Keep a fault until its end."""
        if isinstance(event, SourceFault):
            self.faults[event.source] = event
        else:
            self.faults.pop(event.source, None)

    def lookup(self, part: str, quantity: str, max_age_s: float) -> float | None:
        """Lend a part's last value, where it is not too old."""
        kept = self.readings.get((part, quantity))
        if not kept or self.clock.monotonic() - kept[-1][0] > max_age_s:
            return None
        return kept[-1][1].value

    def values(
        self, part: str, quantity: str, since_s: float = float("-inf")
    ) -> list[float]:
        """Return a part's values of a quantity since a moment."""
        kept = self.readings.get((part, quantity), ())
        return [sample.value for at_s, sample in kept if at_s >= since_s]
