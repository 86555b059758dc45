"""`parts`: the list, one part's page, and a scan on emulated wires."""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import parts as command
from cabinvigil.daemon.parts.scan_targets import DeviceTree
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from tests.commands.calling import call


def called(*words: str, machine: DeviceTree | None = None) -> tuple[int, str, str]:
    return call(command, *words, machine=machine)


def test_every_part_has_its_line() -> None:
    """Kind, wire, and what it gives in words."""
    code, out, err = called()
    assert (code, err) == (0, "")
    verdict, *lines = out.splitlines()
    assert verdict.startswith(f"{len(REGISTRY)} kinds of sensor")
    assert [line.split()[0] for line in lines] == list(REGISTRY)
    assert "scd4x                 I2C     carbon dioxide, temperature" in out


@pytest.mark.parametrize("kind", REGISTRY)
def test_a_parts_page_tells_every_option_and_address(kind: str) -> None:
    """All that a config can say of it."""
    code, out, _ = called(kind)
    info = find_part(kind)
    assert code == 0
    assert out.startswith(f"{kind}: {info.title}\n")
    for word in (*info.options, *(f"0x{one:02x}" for one in info.addresses)):
        assert word in out


def test_an_unknown_kind_is_told_with_those_there_are() -> None:
    """Exit 2."""
    code, out, err = called("scd40")
    assert (code, out) == (2, "")
    assert "no sensor is called 'scd40'; the kinds are bme280" in err


def test_the_list_as_json() -> None:
    """Every part, its options and figures."""
    code, out, _ = called("--json")
    parts = json.loads(out)["parts"]
    assert code == 0
    assert [one["kind"] for one in parts] == list(REGISTRY)
    scd4x = next(one for one in parts if one["kind"] == "scd4x")
    assert scd4x["addresses"] == ["0x62"]
    assert scd4x["gives"]["co2_ppm"]["unit"] == "ppm"


def test_a_scan_of_the_emulated_trailer_finds_all_of_it() -> None:
    """Exit 0; each part under its name in the config."""
    code, out, err = called("--scan", "--emulated")
    assert (code, err) == (0, "")
    assert "0x62  scd4x (CO2 sensor (SCD4x)); in the config as bunk-co2" in out
    assert "not found" not in out
    assert "would add" not in out


@pytest.mark.parametrize("kind", REGISTRY)
def test_a_scan_finds_an_emulated_one_of_each_kind(kind: str) -> None:
    """So does a new part, by its line in the registry and in `known.py`."""
    code, out, err = called(kind, "--scan", "--emulated")
    assert (code, err) == (0, "")
    assert find_part(kind).title in out
    if kind != "contact":
        assert (
            f'kind = "{kind}"' in out
            or f"# or kind = {kind}" in out
            or (f", {kind}" in out)
        )
    told = json.loads(called(kind, "--scan", "--emulated", "--json")[1])
    assert [one for one in told["found"] if kind in one["kinds"]]


def test_a_scan_of_real_wires_takes_no_kind() -> None:
    """It looks for every one of them; a kind beside it was passed over in silence."""
    code, out, err = called("scd4x", "--scan")
    assert (code, out) == (2, "")
    assert "leave the kind out" in err


def test_a_scan_as_json() -> None:
    """What was found, what is missing, and the lines for a config."""
    code, out, _ = called("--scan", "--emulated", "--json")
    told = json.loads(out)
    assert code == 0
    assert (told["missing"], told["config"], told["failed"]) == ([], [], {})
    assert {one["name"] for one in told["found"]} >= {"bunk-o2", "bunk-co", "baro"}


def test_a_scan_of_a_machine_without_wires(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing to look at is no failure, and is said with the remedy."""
    monkeypatch.setattr(command, "USUAL_CONFIG", tmp_path / "none.toml")
    code, out, _ = called("--scan", machine=DeviceTree(tmp_path))
    assert code == 0
    assert out.startswith("There is no I2C bus here")


def test_a_bus_that_does_not_open_is_a_failure(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit 3, with the remedy; a config with mistakes does not stop the scan."""
    default = tmp_path / "bad.toml"
    default.write_text("[cabin]\n", encoding="utf-8")
    monkeypatch.setattr(command, "USUAL_CONFIG", default)
    device = str(tmp_path / "i2c-9")
    code, out, err = called("--scan", "--bus", device, machine=DeviceTree(tmp_path))
    assert code == 3
    assert f"there is no {device}: `cabinvigil parts --scan` lists" in out
    assert "scanning without the config" in err


def test_a_named_config_with_mistakes_is_refused(tmp_path: Path) -> None:
    """Exit 2: who names it wants it compared."""
    path = tmp_path / "bad.toml"
    path.write_text("[cabin]\n", encoding="utf-8")
    code, _, err = called("--scan", "--config", str(path))
    assert code == 2
    assert "cabin.name" in err
