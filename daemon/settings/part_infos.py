"""The parts of a config as the registry knows them, with the config's own times."""

from collections.abc import Mapping
from dataclasses import replace

from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import PartInfo


def part_infos(parts: Mapping[str, PartSettings]) -> dict[str, PartInfo]:
    """Look up every part in the registry, with the config's own times put in."""
    infos = {}
    for name, part in parts.items():
        info = find_part(part.kind)
        infos[name] = replace(
            info,
            interval_s=part.interval_s or info.interval_s,
            max_age_s=part.max_age_s or info.max_age_s,
        )
    return infos
