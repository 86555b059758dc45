"""What every test is held to: nothing said in it may break the written contract."""

from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from tests.contract import held

# The same examples on every run, and no test that fails for a busy machine;
# `--hypothesis-profile default` draws new ones.
settings.register_profile(
    "suite",
    derandomize=True,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.load_profile("suite")


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add what is asked for on a quiet day."""
    parser.addoption(
        "--slow-callbacks",
        action="store_true",
        help="fail a test in which a callback of ours held the loop for 50 ms",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Begin to judge, before any test module takes what is judged."""
    config.addinivalue_line(
        "markers",
        "made_up(why): hands the outputs what no watch says, so no contract holds it",
    )
    config.addinivalue_line(
        "markers", "holds_loop: holds the event loop on purpose (--slow-callbacks)"
    )
    held.install()
    if config.getoption("--slow-callbacks"):
        from tests.tools.slow_callbacks import SlowCallbacks

        config.pluginmanager.register(SlowCallbacks(), "slow-callbacks")
    if config.pluginmanager.hasplugin("xdist"):
        config.pluginmanager.register(_Workers())


@pytest.fixture(autouse=True)
def _contract(request: pytest.FixtureRequest) -> Iterator[None]:
    held.taken()
    yield
    found = held.taken()
    if found and request.node.get_closest_marker("made_up") is None:
        pytest.fail("the contract is broken:\n" + "\n".join(found[:3]), pytrace=False)


class _Workers:
    """Brings together what several workers judged."""

    def pytest_testnodedown(self, node: Any) -> None:
        for kind, count in getattr(node, "workeroutput", {}).get("held", {}).items():
            held.seen[kind] += count


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Hand what this worker judged to the one that tells."""
    output = getattr(session.config, "workeroutput", None)
    if output is not None:
        output["held"] = dict(held.seen)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say how much was held to it: none would mean that nobody looked."""
    told = ", ".join(f"{count} {kind}" for kind, count in held.seen.items())
    terminalreporter.write_line(f"held to the written contract: {told}")
