"""The strict wire itself: it must fail where a part says something else."""

import pytest

from cabinvigil.drivers.kit.steps import CrcError, DriverError, Steps, Transfer
from tests.wire import play

ONE, TWO = Transfer(b"\1", 1), Transfer(b"\2", 1)


def _steps() -> Steps:
    yield ONE
    yield TWO
    return []


def test_whole_script_passes() -> None:
    """A script that fits is played to its end."""
    assert play(_steps(), [(ONE, b"\0"), (TWO, b"\0")]) == []


@pytest.mark.parametrize(
    ("script", "words"),
    [
        ([(ONE, b"\0"), (ONE, b"\0")], "line 2"),
        ([(ONE, b"\0")], "beyond the script's end"),
        ([(ONE, b"\0"), (TWO, b"\0"), (TWO, b"\0")], "never said"),
        ([(ONE, b"\0\0"), (TWO, b"\0")], "answers too much"),
    ],
)
def test_each_mismatch_fails(script: list[tuple[Transfer, bytes]], words: str) -> None:
    """Another transfer, one more, one less, or too long a reply: each is caught."""
    with pytest.raises(AssertionError, match=words):
        play(_steps(), script)


def test_errors_are_thrown_in() -> None:
    """An error in the script is raised in the steps, and may end them."""
    script: list[tuple[Transfer, bytes | DriverError]] = [(ONE, CrcError("bad"))]
    with pytest.raises(CrcError):
        play(_steps(), script)
    with pytest.raises(AssertionError, match="given up before"):
        play(_steps(), [*script, (TWO, b"\0")])
