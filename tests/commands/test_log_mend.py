"""`cabinvigil log mend`: what can be read, written beside the log and never over it."""

import gzip
import io
import json
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import log
from cabinvigil.daemon.log import mend
from tests.commands.calling import call
from tests.commands.test_log_check import folder_of, night
from tests.review import logs


def test_what_can_be_read_is_written_beside_it(tmp_path: Path) -> None:
    """The damaged and the whole ones, so that the new folder is all there is."""
    lines = night().splitlines(keepends=True)
    torn = b"".join(lines[:50]) + b"\0" * 30 + b"".join(lines[50:]) + b'{"t'
    folder = folder_of(
        tmp_path,
        night_2026_01_16__jsonl=torn,
        night_2026_01_17__jsonl__gz=gzip.compress(night(17), mtime=0),
    )
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    code, out, err = call(log, "mend", folder)
    assert (code, err) == (0, "")
    assert (
        "night-2026-01-16.jsonl: 361 lines kept; in the old file:\n"
        "  DAMAGED: 1 line after line"
    ) in out
    assert out.startswith(
        f"2 files written to {folder}/mended/, 1 of them from a damaged or torn one: "
        "1 line and the torn end of the log are lost.\nThe new files can be read to "
        "their end, and a line marks where others are missing: keep the old ones.\n"
    )
    made = folder / "mended"
    del lines[50]  # the zeros stood before it
    own = {key: json.loads(lines[50])[key] for key in ("t", "up_s")}
    said = json.dumps({**own, "event": "lost", "lines": 1}, separators=(",", ":"))
    lines.insert(51, said.encode() + b"\n")  # behind the first that could be read
    assert (made / "night-2026-01-16.jsonl").read_bytes() == b"".join(lines)
    packed = (made / "night-2026-01-17.jsonl.gz").read_bytes()
    assert gzip.decompress(packed) == night(17)
    assert {one.name: one.read_bytes() for one in folder.glob("night*")} == before
    assert (made / "night-2026-01-16.jsonl").stat().st_mode & 0o777 == 0o640
    assert call(log, "check", made)[0] == 0


def test_it_writes_over_nothing(tmp_path: Path) -> None:
    """Neither over the log itself, nor over what it wrote before."""
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())
    before = (folder / "night-2026-01-16.jsonl").read_bytes()
    for words in ((), ("-o", folder), ("-o", folder / "mended")):
        if not words:
            assert call(log, "mend", folder)[0] == 0
        code, out, err = call(log, "mend", folder, *words)
        assert (code, out) == (2, "")
        assert err.endswith(
            "night-2026-01-16.jsonl: exists; name another folder with -o, or move it "
            "away\n"
        )
    assert (folder / "night-2026-01-16.jsonl").read_bytes() == before


def test_a_link_in_its_way_is_not_followed(tmp_path: Path) -> None:
    """As root in another's folder it would write over any file."""
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())
    (folder / "mended").mkdir()
    (folder / "mended" / "night-2026-01-16.jsonl").symlink_to(tmp_path / "new")
    code, _, err = call(log, "mend", folder)
    assert code == 2
    assert "exists" in err
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("data", [b"", b"\xff" * 999, b"\x1f\x8b\x08 no gzip", b"{}\n"])
def test_where_nothing_can_be_read_nothing_is_written(
    tmp_path: Path, data: bytes
) -> None:
    path = folder_of(tmp_path, night_2026_01_16__jsonl=data) / "night-2026-01-16.jsonl"
    for what in (path, tmp_path):
        code, out, err = call(log, "mend", what)
        assert (code, out) == (2, "")
        assert err.startswith(f"cabinvigil: {what}: holds no line that can be read")
        assert err.count("\n") == 1
    assert not (tmp_path / "mended").exists()


def test_what_stops_data_frame_libraries_is_left_out_and_told(tmp_path: Path) -> None:
    """JSON in form, and no line of ours: numbers without end, texts for numbers."""
    wrong = (
        b'{"up_s":1,"event":"air","o2_pct":1e999}\n'
        b'{"up_s":2,"event":"air","o2_pct":"20.5"}\n'
        b'{"up_s":3,"event":"air","co2_ppm":%s}\n'
        b'{"up_s":4,"event":"air","o2_pct":{"a":1}}\n'
    ) % (b"9" * 400)
    mark = logs.line("mark", 9.0, text="\ud800 vent \x1b[31m", by="phone")
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night() + wrong + mark)
    code, out, _ = call(log, "mend", folder, "--json")
    assert code == 0
    (one,) = json.loads(out)["files"]
    assert one["lost"][0]["lines"] == 4
    *_, last, said = map(json.loads, Path(one["written"]).read_bytes().splitlines())
    assert last["text"] == " vent [31m"
    assert (said["event"], said["lines"]) == ("lost", 4)


def test_a_full_disk_leaves_nothing_half_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_of(tmp_path, night_2026_01_16__jsonl=night())

    class Full(io.FileIO):
        def write(self, data: object) -> int:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(mend, "new_file", lambda path: Full(path, "x"))
    code, _, err = call(log, "mend", folder)
    assert code == 2
    assert "cannot be written (No space left on device); name a folder" in err
    assert list((folder / "mended").iterdir()) == []


def test_its_options_are_its_own(tmp_path: Path) -> None:
    for words in (("check", "-o", tmp_path), ("csv", "--json")):
        code, out, err = call(log, *words, tmp_path)
        assert (code, out) == (2, "")
        assert "leave" in err
