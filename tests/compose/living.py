"""A composed core fed by parts that live, freeze, fall silent or are in doubt.

The parts read with the noise and the steps that their drivers state, at their own
intervals; what the air is, the test says.
"""

import random
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from cabinvigil.daemon.compose.compose import CoreBuild, compose
from cabinvigil.daemon.core.model import EMPTY, Priority, Transition
from cabinvigil.daemon.sampling.wiring import part_infos
from cabinvigil.daemon.service.watcher import round_reading
from cabinvigil.daemon.settings.config import Cabin, standard
from cabinvigil.daemon.settings.values import PartSettings, changed
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import PartInfo
from tests.core.scenario import Night

FRESH = {
    "o2_pct": 20.6,
    "co_ppm": 0.0,
    "co2_ppm": 800.0,
    "temp_c": 16.0,
    "rh_pct": 60.0,
    "pressure_hpa": 940.0,
}
Air = Callable[[float], Mapping[str, float]]
"""What is true at a moment; what it leaves out is as in `FRESH`."""
TOPS = {"co2_ppm": 40_000.0, "co_ppm": 500.0}


@dataclass
class Part:
    """One part of the cabin."""

    kind: str
    info: PartInfo
    mode: str = "alive"
    """`alive`, `frozen` (its signal stands), `standing` (all that it gives does),
    `silent` or `doubtful`."""
    due_s: float = 0.0
    coarse: dict[str, float] = field(default_factory=dict)
    """Steps other than its driver's, by quantity."""
    signals: dict[str, float] = field(default_factory=dict)


class LivingCabin:
    """A core composed of registered parts, and the parts that feed it."""

    def __init__(
        self,
        *kinds: str,
        seed: int = 1,
        leave_out: tuple[str, ...] = (),
        options: Mapping[str, Mapping[str, Any]] = EMPTY,
        **cabin: float,
    ) -> None:
        settings = {
            kind: PartSettings(kind=kind, options=dict(options.get(kind, {})))
            for kind in kinds
        }
        for kind, part in settings.items():
            left = tuple(one for one in leave_out if one in find_part(kind).gives)
            settings[kind] = changed(part, leave_out=left)
        infos = part_infos(settings)
        about = Cabin(name="hut", **cabin)  # type: ignore[arg-type]
        self.build: CoreBuild = compose(
            about, settings, infos, standard(about).alarms, renderer("en")
        )
        self.parts = {kind: Part(kind, infos[kind]) for kind in kinds}
        self.night = Night(self.build.setup)
        self._random = random.Random(seed)
        self.play(0.0)

    def play(
        self, for_s: float, air: Air = lambda _: FRESH, tick_s: float = 5.0
    ) -> "LivingCabin":
        """Let so much time pass, a tick at a time."""
        for _ in range(max(1, round(for_s / tick_s))):
            now_s = self.night.now + tick_s
            true = {**FRESH, **air(now_s)}
            true["o2_hpa"] = true["o2_pct"] * true["pressure_hpa"] / 100.0
            values: dict[str, float] = {}
            doubtful, at_least = set(), set()
            for part in self.parts.values():
                if part.mode == "silent" or now_s < part.due_s:
                    continue
                part.due_s = now_s + part.info.interval_s * 0.999
                for quantity, value in self._read(part, true):
                    key = self.build.keys.get((part.kind, quantity))
                    if key is None:
                        continue
                    top = TOPS.get(quantity, float("inf"))
                    values[key] = min(round_reading(quantity, value), top)
                    at_least |= {key} if value >= top else set()
                    doubtful |= {key} if part.mode == "doubtful" else set()
            self.night.air(values, tick_s, doubtful=doubtful, at_least=at_least)
        return self

    def _read(
        self, part: Part, true: Mapping[str, float]
    ) -> Iterable[tuple[str, float]]:
        gives = part.info.gives
        for quantity, known in gives.items():
            is_still = part.mode in ("frozen", "standing")
            if not is_still or quantity not in part.signals:
                value = true[quantity] + self._random.gauss(0.0, known.noise)
                step = part.coarse.get(quantity, known.resolution)
                part.signals[quantity] = round(value / step) * step
        if "co_ppm" in gives:
            part.signals["co_ppm"] = max(part.signals["co_ppm"], 0.0)
        shown = dict(part.signals)
        if "o2_hpa" in gives and part.mode == "frozen":
            # The signal alone has died: its percent follows the barometer.
            shown["o2_pct"] = 100.0 * shown["o2_hpa"] / true["pressure_hpa"]
        return shown.items()

    def rung(self, alarm: str = "") -> list[tuple[float, str, Priority, str]]:
        """When alarms rang or rose: time, id, priority, sentence."""
        return [
            (at_s, one.alarm, one.priority, one.text)
            for at_s, one in self.night.said
            if isinstance(one, Transition)
            and one.alarm.startswith(alarm)
            and one.state.value == "unacknowledged"
        ]

    def woken(self, alarm: str = "") -> list[tuple[float, str, Priority, str]]:
        """When alarms that wake people rang."""
        return [one for one in self.rung(alarm) if one[2] >= Priority.MEDIUM]
