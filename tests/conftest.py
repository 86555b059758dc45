"""What every test is held to: nothing said in it may break the written contract."""

from collections.abc import Iterator

import pytest

from tests.contract import held


def pytest_configure(config: pytest.Config) -> None:
    """Begin to judge, before any test module takes what is judged."""
    config.addinivalue_line(
        "markers",
        "made_up(why): hands the outputs what no watch says, so no contract holds it",
    )
    held.install()


@pytest.fixture(autouse=True)
def _contract(request: pytest.FixtureRequest) -> Iterator[None]:
    held.taken()
    yield
    found = held.taken()
    if found and request.node.get_closest_marker("made_up") is None:
        pytest.fail("the contract is broken:\n" + "\n".join(found[:3]), pytrace=False)
