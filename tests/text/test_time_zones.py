"""The zone of a cabin's hours: by its config, else the machine's; UTC is minded."""

from datetime import datetime
from pathlib import Path

import pytest

from cabinvigil.daemon.text import time_zones
from cabinvigil.daemon.text.time_zones import system_zone, why_minded, zone_named


@pytest.mark.parametrize("name", ["Europe/Oslo", "Asia/Kolkata", "UTC"])
def test_a_zone_is_known_by_its_name(name: str) -> None:
    zone = zone_named(name)
    assert zone is not None
    assert datetime(2026, 1, 16, 12, tzinfo=zone).utcoffset() is not None


@pytest.mark.parametrize(
    "name", ["", "Oslo", "Europe/Nowhere", "../../etc/passwd", "/etc/passwd", "a\0b"]
)
def test_what_is_no_zone_is_none_and_no_traceback(name: str) -> None:
    assert zone_named(name) is None


def test_the_machines_zone_is_read_where_it_is_linked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As timedatectl(1) links it; the environment has the word before it."""
    monkeypatch.delenv("TZ", raising=False)
    link = tmp_path / "localtime"
    link.symlink_to("/usr/share/zoneinfo/America/St_Johns")
    assert system_zone(link) == "America/St_Johns"
    assert system_zone(tmp_path / "none") == "UTC"
    (tmp_path / "copied").write_bytes(b"TZif")
    assert system_zone(tmp_path / "copied") == ""
    monkeypatch.setenv("TZ", ":Europe/Oslo")
    assert system_zone(link) == "Europe/Oslo"


@pytest.mark.parametrize("zone", ["UTC", "Etc/UTC", "GMT", "Etc/Zulu", ""])
def test_a_machine_on_utc_is_minded(zone: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """R3: a Pi comes on UTC; whoever writes UTC into the config means it."""
    monkeypatch.setattr(time_zones, "system_zone", lambda: zone)
    assert 'write zone = "Europe/Oslo"' in why_minded(None)
    assert why_minded("UTC") == ""
    monkeypatch.setattr(time_zones, "system_zone", lambda: "Atlantic/Reykjavik")
    assert why_minded(None) == ""
