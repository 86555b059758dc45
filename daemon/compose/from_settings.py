"""The core of a whole config: its parts looked up, its sentences in its language."""

from datetime import date, datetime

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.compose.compose import CoreBuild, compose
from cabinvigil.daemon.core.setup import Render
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.words import renderer
from cabinvigil.daemon.text.units_said import units_named


def compose_settings(
    settings: Settings,
    render: Render | None = None,
    *,
    wall: datetime | None = None,
    today: date | None = None,
) -> CoreBuild:
    """Compose the core of a cabin with its parts.

    Args:
        settings: of the cabin.
        render: makes an alarm's sentence; None: in the config's own language.
        wall: now, from which service lives are counted; they are not where it is
            None, or of a clock that cannot be right.
        today: the date of another now, which was believed then.
    """
    if wall is not None and wall >= EARLIEST:
        today = wall.date()
    if render is None:
        watch, units = settings.watch, units_named(settings.cabin.units)
        render = renderer(watch.language, watch.words, units)
    return compose(
        settings.cabin,
        settings.parts,
        part_infos(settings.parts),
        settings.alarms,
        render,
        buses=tuple(settings.i2c),
        today=today,
    )
