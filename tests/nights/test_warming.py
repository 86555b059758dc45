"""A cold cabin that is heated: seeded plays of the bench, by the whole watch.

`python -m tests.bench.warming` plays two hundred.
"""

import pytest

from tests.bench.warming import Scene, heard


@pytest.mark.parametrize(
    "scene",
    [
        Scene(-9.0, is_shut=False, is_ahead=True, seed=6),
        Scene(-25.0, is_shut=True, is_ahead=True, seed=4),
    ],
    ids=["aired", "shut"],
)
@pytest.mark.hazard("crying-wolf")
def test_no_other_gas_and_no_late_word_while_a_cell_warms(scene: Scene) -> None:
    """29 CFR 1910.146(b) has 19.5 %; no later than 0.2 below it."""
    found = heard(scene)
    assert found.other_gas == 0
    assert not found.is_late
