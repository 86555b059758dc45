"""The parts of a config as the registry knows them, with the config's own figures."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import PartInfo


def part_infos(parts: Mapping[str, PartSettings]) -> dict[str, PartInfo]:
    """Look up every part in the registry, with the config's times and steps put in."""
    infos = {}
    for name, part in parts.items():
        info = find_part(part.kind)
        steps = _steps(info, part.options)
        infos[name] = replace(
            info,
            gives={
                quantity: replace(known, resolution=steps[quantity])
                if quantity in steps
                else known
                for quantity, known in info.gives.items()
            },
            interval_s=part.interval_s or info.interval_s,
            max_age_s=part.max_age_s or info.max_age_s,
        )
    return infos


def _steps(info: PartInfo, options: Mapping[str, Any]) -> Mapping[str, float]:
    try:
        return info.steps(options)
    except ValueError:  # `make` tells of a wrong option
        return {}
