"""A state that the disk does not give now: nothing is written over it."""

import os
import tempfile
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.outputs.state_file import StateFile, UnreadError
from tests.outputs.hands import EVENING
from tests.outputs.test_state_file import load, save


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state.json"


@pytest.mark.parametrize("which", ["state.json", "state.json.new", "state.json.before"])
def test_what_the_disk_does_not_give_is_neither_torn_nor_written_over(
    path: Path, which: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It may be the newest, and whole: put aside only when that is asked for."""
    save(path, {"n": 1})
    save(path, {"n": 2})
    if which == "state.json.new":
        path.with_name(which).write_bytes(path.read_bytes())
    whole = path.with_name(which).read_bytes()
    real = Path.open

    def opened(file: Path, *args: Any, **kwargs: Any) -> Any:
        if file.name == which:
            raise OSError(5, os.strerror(5))
        return real(file, *args, **kwargs)

    file = StateFile(path)
    with monkeypatch.context() as patch:
        patch.setattr(Path, "open", opened)
        for _ in range(2):
            with pytest.raises(UnreadError, match=f"^{which}: Input/output error"):
                file.load(EVENING, 0.0)
        assert path.with_name(which).exists()
        file.put_unread_aside()
    aside = path.with_name(f"{which}.unread")
    assert aside.read_bytes() == whole
    left = file.load(EVENING, 0.0).body
    assert left == ({"n": 1} if which == "state.json" else {"n": 2})
    for number in (3, 4, 5):
        file.save({"n": number}, EVENING, 0.0)
    assert aside.read_bytes() == whole


def test_a_folder_in_its_place_is_put_aside_too(path: Path) -> None:
    path.mkdir()
    file = StateFile(path)
    with pytest.raises(UnreadError, match="Is a directory"):
        file.load(EVENING, 0.0)
    file.put_unread_aside()
    file.save({"n": 1}, EVENING, 0.0)
    assert load(path).body == {"n": 1}


@pytest.mark.skipif(os.geteuid() != 0, reason="becomes another user")
def test_a_state_that_is_not_ours_is_told_with_the_command_that_mends_it() -> None:
    """Left by root, by hand or by an older version: no disk is to be looked at."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "state")
        save(path, {"n": 1})
        path.chmod(0o600)
        Path(folder).chmod(0o755)
        os.seteuid(65534)
        try:
            with pytest.raises(UnreadError, match=f"`sudo chown nobody: {path}`"):
                StateFile(path).load(EVENING, 0.0)
        finally:
            os.seteuid(0)
