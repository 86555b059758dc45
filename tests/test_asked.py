"""Each part and each alarm has all that one needs; what lacks is told with a place."""

import pytest

from cabinvigil.daemon.settings.config import example
from cabinvigil.drivers import REGISTRY
from tests.tools.asked import lacks_of_alarm, lacks_of_part, main


@pytest.mark.parametrize("kind", REGISTRY)
def test_a_part_lacks_nothing(kind: str) -> None:
    """Each line says the file, the table in it, and what goes there."""
    assert list(lacks_of_part(kind)) == []


@pytest.mark.parametrize("alarm", example().alarms)
def test_an_alarm_lacks_nothing(alarm: str) -> None:
    """So none is without a name, a picture, a sentence or a test by oversight."""
    assert list(lacks_of_alarm(alarm)) == []


def test_an_unknown_word_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """`tests/test_adding.py` sees each line that a new one gets."""
    assert main(["scd40"]) == 2
    assert "scd40 is no part" in capsys.readouterr().out
    assert main(["scd4x", "o2-low"]) == 0
    assert capsys.readouterr().out == ""
