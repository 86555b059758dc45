"""A file that cannot be read, or is no TOML, is one sentence with its place."""

import os
from pathlib import Path

import pytest

from cabinvigil.daemon.settings.config import (
    check,
)
from tests.known import CABIN, KNOWN, Desk


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"[cabin]\nname = \n", ["line 2, column 8", "double quotes"]),
        (b"[cabin]\nvolume_m3 = 1,5\n", ["line 2, column 14", "point"]),
        (b"[cabin]\nname = 'a\n", ["line 3", "close the text"]),
        (b"[cabin]\nvolume_m3 = 11 m3\n", ["line 2", "without a unit"]),
        (b"[part.a]\naddress = 0X76\n", ["line 2", "like 0x76"]),
        (b"[part.a]\naddress = 7Eh\n", ["line 2", "like 0x76"]),
        (b"[part.a]\nin_service = 01.10.2026\n", ["line 2", "like 2026-10-01"]),
        (b"[part.a]\noptions = { a = 2,0 }\n", ["line 2", "a point, no comma"]),
        ("[cabin]\nname = “a”\n".encode(), ["line 2", "straight quotes"]),
        (b"[mqtt]\ntls = False\n", ["line 2", "true or false"]),
        (b"[part.bunk o2]\n", ["line 1", "no name has a space"]),
        (b"a = 1\na = 2\n", ["line 2", "one of the two"]),
        (b"[a]\n[b]\n[a]\n", ["line 3", "one of the two"]),
        (b"a", ["line 1, column 2", "key = value"]),
        (b"x = 1 # \xff\n", ["not UTF-8", "line 1, column 9", "save it as UTF-8"]),
        (b"a = 1\nb = '\xc3\n", ["not UTF-8", "line 2, column 6"]),
        (b"a = " + b"[" * 3000, ["nested"]),
        (b"a = " + b"9" * 5000, ["far too long"]),
        (b"# " + b"x" * 1_000_001, ["more than any config"]),
    ],
)
def test_a_file_that_is_no_toml_is_told_with_its_place(
    tmp_path: Path, data: bytes, words: list[str]
) -> None:
    """Line and column, as an editor counts them, and what to write there."""
    desk = Desk(tmp_path)
    mistake = desk.only(data)
    for word in words:
        assert word in str(mistake)


def test_a_byte_order_mark_is_harmless(tmp_path: Path) -> None:
    """Some editors put one before the first letter."""
    desk = Desk(tmp_path)
    assert desk.check(b"\xef\xbb\xbf" + CABIN.encode()) == []


def test_a_missing_file_a_folder_and_a_pipe(tmp_path: Path) -> None:
    """None of them blocks or raises anything but ConfigError."""
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    for name, word in [
        ("none.toml", "is not there"),
        ("folder", "is a folder"),
        ("pipe", "not an ordinary file"),
        ("a\0b", "no file name may hold"),
        ("x" * 300, "File name too long"),
    ]:
        (mistake,) = check(tmp_path / name, known=KNOWN)
        assert word in str(mistake)


def test_a_file_that_may_not_be_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The remedy is named; tests may run as root, so the refusal is staged."""

    def refuse(self: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    file = tmp_path / "cabin.toml"
    file.write_text(CABIN)
    monkeypatch.setattr(Path, "read_bytes", refuse)
    (mistake,) = check(file, known=KNOWN)
    assert "may not be read" in mistake.what
    assert "chmod" in mistake.mend


def test_a_broken_limits_file_is_named(tmp_path: Path) -> None:
    """A person must see which of the two files is meant."""
    desk = Desk(tmp_path)
    desk.limits.write_text("[alarm.o2-low\n")
    mistakes = desk.check(CABIN)
    assert any("limits.toml" in one.file and "line 1" in one.what for one in mistakes)


def test_limits_of_ones_own_that_are_not_there_are_one_mistake(tmp_path: Path) -> None:
    """Not one more for each alarm and each rule that the file does not name."""
    mistake = Desk(tmp_path).only(
        CABIN.replace("[watch]", '[watch]\nlimits = "my.toml"')
    )
    assert "my.toml is not there; check the name" in str(mistake)
