"""A short soak in the suite: nights and connections leave nothing behind."""

from pathlib import Path

from tests.soak.adapters import both, grown
from tests.soak.reconnects import reconnect
from tests.soak.thirty_nights import KINDS, growth, leftovers, one_by_one

STEADY = 1.05
"""Looser than the soak's own 2 %: the first short nights still load modules."""


def test_nights_leave_no_file_thread_task_or_memory(tmp_path: Path) -> None:
    """Two rounds of each kind of night hold what one round held."""
    held = one_by_one(2 * len(KINDS), 0.1, tmp_path)
    after_first_round = held[len(KINDS) - 1 :]
    assert leftovers(after_first_round) == []
    assert growth(after_first_round) < STEADY
    assert [one.tasks for one in held] == [1] * len(held)


def test_connections_that_end_leave_no_file_thread_traceback_or_memory() -> None:
    """As the thousand by command, in small: each way of ending comes several times."""
    held = reconnect(150, seed=1)
    assert held.leftovers() == []
    assert held.kinds == {"out-of-reach", "refused"}


async def test_reloads_and_unplugged_adapters_leave_nothing(tmp_path: Path) -> None:
    """No thread, task or descriptor more after fifty than after five."""
    for held in await both(tmp_path, 50):
        assert grown(held) == []
