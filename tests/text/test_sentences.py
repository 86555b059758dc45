"""A sentence has one mark at its end, wherever its last piece came from."""

import pytest

from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.settings.errors import Mistake
from cabinvigil.daemon.text.sentences import ended


@pytest.mark.parametrize("mark", [".", "?", "!", "…"])
def test_a_mark_that_is_there_stays_the_only_one(mark: str) -> None:
    assert ended(f"Is it a Pi{mark}") == f"Is it a Pi{mark}"
    assert ended("It is a Pi") == "It is a Pi."


def test_a_question_at_the_end_of_a_fault_is_one() -> None:
    """As the lines of sounder and light, and the broker, ask for the cause."""
    refused = Broker("x", 1883, "me").refused("is port 1883 its TLS port?")
    assert refused.text == "The broker at x:1883 refuses: is port 1883 its TLS port?"
    mistake = Mistake("cabin.toml", "mqtt", "is there twice", "is one meant?")
    assert str(mistake) == "cabin.toml: mqtt is there twice; is one meant?"
