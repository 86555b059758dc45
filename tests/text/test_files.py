"""A file for people is written whole, or what was there stays."""

import errno
import os
from pathlib import Path

import pytest

from cabinvigil.daemon.text.files import put_whole, remedy


def half(_: Path) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_a_disk_that_fills_up_costs_no_file_that_was_there(tmp_path: Path) -> None:
    """Cut at 90,112 bytes, a page of last week was gone for one that is none."""
    page = tmp_path / "page.html"
    page.write_text("last week's")

    def torn(file: Path) -> None:
        file.write_text("<html><bo")
        half(file)

    with pytest.raises(OSError, match="No space"):
        put_whole(page, torn)
    assert page.read_text() == "last week's"
    assert os.listdir(tmp_path) == ["page.html"]
    put_whole(page, lambda file: file.write_text("this week's"))
    assert page.read_text() == "this week's"
    assert os.listdir(tmp_path) == ["page.html"]


def test_what_is_no_plain_file_is_written_to(tmp_path: Path) -> None:
    put_whole(Path(os.devnull), lambda file: file.write_text("gone"))
    assert not Path(os.devnull).is_file()
    with pytest.raises(FileNotFoundError):
        put_whole(tmp_path / "none" / "page.html", lambda file: file.write_text(""))


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "make room"),
        (errno.EDQUOT, "make room"),
        (errno.ENOENT, "a folder that exists"),
        (errno.EACCES, "you may write in"),
    ],
)
def test_the_remedy_is_that_of_the_cause(number: int, words: str) -> None:
    assert words in remedy(OSError(number, os.strerror(number)))
