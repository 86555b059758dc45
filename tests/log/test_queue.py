"""The bounded queue: what goes first, and that the order holds."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.log.queue import PriorityDropQueue


def test_readings_go_before_alarms() -> None:
    """A full queue gives up its oldest reading, however many alarms are newer."""
    queue: PriorityDropQueue[str] = PriorityDropQueue(3)
    queue.put("r1")
    queue.put("a1", important=True)
    queue.put("r2")
    assert queue.put("a2", important=True) == 1
    assert list(queue.items()) == ["a1", "r2", "a2"]
    queue.put("a3", important=True)
    assert queue.put("r3") == 1
    assert list(queue.items()) == ["a1", "a2", "a3"]
    assert (queue.dropped_routine, queue.dropped_important) == (3, 0)


def test_alarms_go_only_when_nothing_else_is_left() -> None:
    queue: PriorityDropQueue[int] = PriorityDropQueue(2)
    for number in range(5):
        queue.put(number, important=True)
    assert queue.take_all() == [3, 4]
    assert queue.dropped_important == 3
    assert len(queue) == queue.size == 0


def test_a_single_large_item_is_kept() -> None:
    queue: PriorityDropQueue[str] = PriorityDropQueue(10)
    queue.put("large", 100)
    assert queue.take_all() == ["large"]


def test_a_bound_below_one_is_refused() -> None:
    with pytest.raises(ValueError, match="1 or more"):
        PriorityDropQueue(0)


@settings(max_examples=100)
@given(st.lists(st.tuples(st.integers(1, 5), st.booleans()), max_size=60))
def test_the_bound_and_the_order_always_hold(puts: list[tuple[int, bool]]) -> None:
    """Never above the bound; never out of order; nothing lost but what is counted."""
    queue: PriorityDropQueue[int] = PriorityDropQueue(20)
    for number, (size, important) in enumerate(puts):
        before = queue.dropped_important
        queue.put(number, size, important=important)
        assert queue.size <= 20
        if queue.dropped_important > before:
            assert all(puts[held][1] for held in queue.items())
    held = list(queue.items())
    assert held == sorted(held)
    lost = queue.dropped_routine + queue.dropped_important
    assert len(held) + lost == len(puts)
