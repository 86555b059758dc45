"""`cabinvigil config` on the usual build: what the example must not mislead about."""

from pathlib import Path

import pytest

from cabinvigil.daemon.commands import config as config_command
from cabinvigil.daemon.settings.registries import packaged
from tests.commands.calling import call


@pytest.fixture(autouse=True)
def zone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have this machine's nights end where its people live."""
    monkeypatch.setenv("TZ", "Europe/Oslo")


def test_the_example_as_it_is_has_nothing_to_fix() -> None:
    """Gas and dust are for the thorough build; a new owner cannot mend their lack."""
    _, out, _ = call(config_command, packaged("cabin.toml"))
    first, second, *rest = out.splitlines()
    assert first.endswith("cabin.toml is valid.")
    assert second.startswith("Nothing to fix.")
    (note,) = [one for one in rest if one.startswith("Without a sensor")]
    assert note.endswith("unburnt gas, fine dust.")


def test_what_a_sensor_leaves_out_is_not_told_as_watched() -> None:
    """The example's CO2 sensor warms itself: its warmth and humidity do not count."""
    _, out, _ = call(config_command, packaged("cabin.toml"))
    (line,) = [one for one in out.splitlines() if one.startswith("bunk-co2")]
    assert line.split(": ", 1)[1] == "carbon dioxide"


@pytest.mark.parametrize("kind", ["ina219", "ina226", "ina228"])
def test_a_battery_monitor_without_its_shunt_is_minded(
    kind: str, tmp_path: Path
) -> None:
    """Boards carry 2 or 100 milliohms: the wrong one reads fifty times too much."""
    text = packaged("cabin.toml").read_text(encoding="utf-8")
    text = text.replace('kind = "ina226"', f'kind = "{kind}"')
    file = tmp_path / "cabin.toml"
    for line, is_said in (("options = { shunt_mohm = 1.5 }\n", False), ("", True)):
        file.write_text(text.replace("options = { shunt_mohm = 1.5 }\n", line))
        _, out, _ = call(config_command, file, "--all")
        assert ("battery may count a current many times" in out) == is_said
