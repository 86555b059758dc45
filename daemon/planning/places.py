"""Where parts are wanted: at one place, or at two where the air parts in layers.

Above a flame that stands high the air is warm, used, and stays there: measured rooms
with a raised burner and no draught had 3 to 4.4 points less oxygen high than low, and
one zone missed them by up to 3.5 points (cases.md, S23: tests 43 to 48; S24).  At the
worst nothing below the flame is drawn in, so that what is above it is all the air
there is.
"""

from dataclasses import replace
from typing import NamedTuple

from cabinvigil.daemon.planning.openings import STANDING_HEIGHT_M
from cabinvigil.daemon.planning.scenario import Scenario

HIGH_FLAME_M = 0.6
"""A flame above this stands over the head of whoever sleeps lowest: a bunk of 0.4 m, a
mattress, a pillow (our choice)."""
LEAST_LAYER = 0.1
"""Of the cabin's height, under the roof: a flame higher than that heats the roof."""

HEADS = "heads"
"""Where the heads of the highest sleepers lie."""
LOW = "low"


class Places(NamedTuple):
    """Where oxygen and carbon dioxide are to be read."""

    wanted: tuple[str, ...]
    burner_height_m: float | None
    """Of the flame; None: nobody says, which counts as high."""


def places(burner_kw: float, burner_height_m: float | None) -> Places:
    """Return where parts are wanted."""
    is_low = burner_height_m is not None and burner_height_m <= HIGH_FLAME_M
    wanted = (HEADS,) if is_low or burner_kw == 0.0 else (HEADS, LOW)
    return Places(wanted, burner_height_m)


def above_flame(way: Scenario) -> Scenario:
    """Return the layer above the flame as if it were all of the cabin."""
    plan = way.plan
    height_m = plan.burner_height_m or 0.0
    share = max(LEAST_LAYER, 1.0 - height_m / STANDING_HEIGHT_M)
    layer = replace(plan, volume_m3=share * plan.volume_m3, wall_w_k=plan.loss_w_k)
    return replace(way, plan=layer)
