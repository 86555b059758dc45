"""Brokers for the tests of the MQTT output."""

from collections.abc import Iterator

import pytest

from cabinvigil.daemon.outputs.mqtt import broker
from tests.outputs.brokers import (
    Certificates,
    Mosquitto,
    mosquitto,
)


@pytest.fixture
def quick_back_off(monkeypatch: pytest.MonkeyPatch) -> None:
    """Back off in tenths of a second: the doubling is tested by itself."""
    monkeypatch.setattr(broker, "FIRST_WAIT_S", 0.05)
    monkeypatch.setattr(broker, "LONGEST_WAIT_S", 0.2)


@pytest.fixture(scope="module")
def open_broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("broker")) as one:
        yield one


@pytest.fixture(scope="module")
def certificates(tmp_path_factory: pytest.TempPathFactory) -> Certificates:
    return Certificates(tmp_path_factory.mktemp("certs"))
