"""`config` on limits and sentences of a person's own, beside the real packaged ones."""

from pathlib import Path

from cabinvigil.daemon.commands import config as config_command
from cabinvigil.daemon.settings.registries import packaged
from tests.commands.calling import call


def with_limits(tmp_path: Path, limits: str) -> str:
    """A config of the example that names a limits file of its own."""
    text = packaged("cabin.toml").read_text(encoding="utf-8")
    file = tmp_path / "cabin.toml"
    text = text.replace("[watch]", '[watch]\nlimits = "own.toml"', 1)
    file.write_text(text, encoding="utf-8")
    (tmp_path / "own.toml").write_text(limits, encoding="utf-8")
    return str(file)


def test_a_limits_file_with_one_table_is_one_mistake_first(tmp_path: Path) -> None:
    """It gave one for each alarm it lacked, and one for each rule without any."""
    ours = packaged("limits.toml").read_text(encoding="utf-8")
    begin = ours.index("[alarm.co-level]")
    table = ours[begin : ours.index("\n[", begin + 1)]
    code, _, err = call(config_command, with_limits(tmp_path, table))
    lines = err.splitlines()
    assert code == 2
    assert "lacks" in lines[1]
    assert "config --limits --toml" in lines[1]
    assert "as [alarm.co-level]" in lines[1]
    assert "so it would never sound" not in err
    assert err.count("is missing: a limits file") == 0


def test_the_packaged_files_can_be_printed_to_start_from(tmp_path: Path) -> None:
    """And what is written by them is told by its name, with what differs."""
    code, limits, _ = call(config_command, "--limits", "--toml")
    assert (code, limits) == (0, packaged("limits.toml").read_text(encoding="utf-8"))
    code, words, _ = call(config_command, "--words", "de")
    assert (code, words) == (0, packaged("words_de.toml").read_text(encoding="utf-8"))
    code, out, err = call(config_command, with_limits(tmp_path, limits))
    assert (code, err) == (0, "")
    assert "Limits: own.toml. Not as packaged: cold." in out
    code, _, err = call(config_command, "--toml")
    assert code == 2
    assert "add --limits" in err
