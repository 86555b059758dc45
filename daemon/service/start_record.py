"""What the first line of a log says of what ran."""

import importlib.metadata
from typing import Any

from cabinvigil.daemon.settings.config import Settings


def version() -> str:
    """Return the software's version."""
    return importlib.metadata.version("cabinvigil")


def start_fields(settings: Settings, *, emulated: bool = False) -> dict[str, Any]:
    """Return the start record's fields: version, digest, and the whole config.

    Args:
        settings: what runs.
        emulated: the parts are invented; every such log says so at its head.
    """
    fields: dict[str, Any] = {
        "version": version(),
        "config_digest": settings.digest,
        "config": settings.as_plain(),
        "alarms": list(settings.alarms),
        "laxer": list(settings.laxer),
    }
    if emulated:
        fields["emulated"] = True
    return fields
