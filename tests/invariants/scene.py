"""The cabin itself: the true air, and every part in it, whatever the config says."""

import random
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from tests.invariants.air import Air
from tests.invariants.moment import PartView
from tests.invariants.parts import KINDS, PARTS, Part, Sample

JUDGED = ("o2_pct", "co_ppm", "co2_ppm")
"""The quantities of which the oracle follows each part."""
WARM_UP_S = 60.0
"""Parts warm up for so long after a restart."""
UNNATURAL = ("o2_dry_pct", "co2_ppm", "vapour_hpa", "temp_c")
"""Set at once, these break the balance by which one gas follows from another."""
Samples = Mapping[str, list[Sample]]


@dataclass(slots=True)
class Still:
    """Since when a part's own quantity has stood still."""

    value: float | None = None
    since_s: float = 0.0


class Scene:
    """What is so, whoever looks."""

    def __init__(self, volume_m3: float, altitude_m: float, seed: int) -> None:
        """Begin in good air, every part alive.

        Args:
            volume_m3: of the cabin.
            altitude_m: of the cabin.
            seed: of the parts' noise.
        """
        self.at_s = 0.0
        """True time."""
        self.is_natural = True
        """Nothing has happened that breaks the balance of the gases."""
        self.air = Air(volume_m3, altitude_m)
        self.parts = {name: Part(name, KINDS[kind]) for name, kind in PARTS.items()}
        self._still = {name: Still() for name in PARTS}
        self._doubted_s: dict[str, float] = {}
        """Since when a living part has given doubtful values."""
        self._rng = random.Random(seed)

    def live(self, dt_s: float) -> None:
        """Let time pass."""
        self.air.live(dt_s)
        self.at_s = round(self.at_s + dt_s, 3)

    def turn(self, knob: str, value: float) -> None:
        """Turn a source of the air, or set the air itself."""
        self.is_natural = self.is_natural and knob not in UNNATURAL
        self.air.turn(knob, value)

    def turn_part(self, name: str, mode: str) -> str:
        """Let a part fail or come back; return how it was before."""
        part = self.parts[name]
        was = part.mode
        if mode == "skewed" and self.at_s > 0.0:
            self.is_natural = False  # from one reading to the next, no air does that
        part.set_mode(mode, self.at_s)
        return was

    def warm_up(self) -> None:
        """Let every part warm up anew: its values are doubtful for a while."""
        for part in self.parts.values():
            part.doubtful_until_s = self.at_s + WARM_UP_S

    def read(self, names: Iterable[str]) -> Samples:
        """Return what these parts give now."""
        truth = self.air.truth()
        samples = {
            name: self.parts[name].read(truth, self.at_s, self._rng) for name in names
        }
        for name, given in samples.items():
            still = self._still[name]
            if given and given[0][1] != still.value:
                still.value, still.since_s = given[0][1], self.at_s
        return samples

    def views(self, names: Iterable[str], samples: Samples) -> tuple[PartView, ...]:
        """Show what the oracle may know of these parts."""
        views = []
        for name in names:
            part = self.parts[name]
            quantity = part.kind.channels[0].quantity
            if quantity not in JUDGED:
                continue
            mode, since_s = self._mode(part), part.since_s
            if mode == part.mode:
                self._doubted_s.pop(name, None)
            else:
                since_s = self._doubted_s.setdefault(name, self.at_s)
            given = samples.get(name)
            _, value, quality = given[0] if given else ("", None, "")
            view = PartView(
                name,
                quantity,
                mode,
                since_s,
                value,
                quality == "at-least",
                self.at_s - self._still[name].since_s,
            )
            views.append(view)
        return tuple(views)

    def _mode(self, part: Part) -> str:
        is_cold = self.air.temp_c < part.kind.coldest_c
        warms_up = self.at_s < part.doubtful_until_s
        is_doubtful = part.mode == "alive" and (is_cold or warms_up)
        return "doubtful" if is_doubtful else part.mode
