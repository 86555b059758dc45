"""What is said of a night that was played on emulated sensors."""

from collections.abc import Mapping
from datetime import tzinfo
from typing import Any

from cabinvigil.daemon.log.moments import TRAILERS_ZONE


def played(head: Mapping[str, Any], zone: tzinfo | None) -> str:
    """Say of a rehearsed night that it is one, and whose time that is; '' otherwise.

    Args:
        head: the first line of its log.
        zone: in which its moments are told.
    """
    if head.get("emulated") is not True:
        return ""
    if zone is TRAILERS_ZONE:
        return ", emulated sensors in the example's time zone"
    return ", emulated sensors"
