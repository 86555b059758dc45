"""One night of the second generator: `make(seed, kind)`.

A generator of nights written by somebody who had read neither the daemon's air nor its
review and trend, to check these: what it gets wrong, it gets wrong by itself.
"""

import random
from dataclasses import dataclass

from tests.bench.second_nights.draw import draw_scene
from tests.bench.second_nights.kinds import KINDS, Draw
from tests.bench.second_nights.live import TICK_S, Moment, Night, Places
from tests.bench.second_nights.scene import Scene
from tests.bench.second_nights.sensors import Parts, draw_parts

HOURS = 9.0


@dataclass
class SecondNight:
    """What was true and what the parts gave, an entry for every ten seconds."""

    seed: int
    kind: str
    scene: Scene
    parts: Parts
    moments: list[Moment]
    readings: list[dict[str, float]]
    """Keys as in the log; what was lost is missing."""
    life: Night
    """The cabin as the night left it."""


def prepare(seed: int, kind: str | None, hours: float, wide: bool) -> Draw:
    """Draw a night without living it; the same seed gives the same night."""
    rng = random.Random(f"second {seed}")
    names = list(KINDS)
    drawn = names[seed % len(names)]
    name = drawn if kind is None else kind
    scene = draw_scene(rng, name, 3600.0 * hours, wide)
    draw = Draw(rng, scene, draw_parts(rng), Places())
    KINDS[name](draw)
    return draw


def make(
    seed: int, kind: str | None = None, hours: float = HOURS, wide: bool = False
) -> SecondNight:
    """Live a night.

    Args:
        seed: of all chance.
        kind: a name of KINDS; None goes through all of them as seeds go on.
        hours: its length.
        wide: vents as in `draw_scene`.
    """
    draw = prepare(seed, kind, hours, wide)
    life = Night(draw.scene, seed, draw.places)
    moments = list(life.moments())
    rng = random.Random(f"read {seed}")
    readings = [draw.parts.read(rng, one) for one in moments]
    return SecondNight(
        seed, draw.scene.kind, draw.scene, draw.parts, moments, readings, life
    )


__all__ = ["KINDS", "TICK_S", "SecondNight", "make", "prepare"]
