"""A part that stalls or babbles holds up no other's readings: on real threads, ptys."""

import pytest

from cabinvigil.daemon.sampling.buses import DEADLINE_S
from tests.bench.stalled_part import USUAL, compare


@pytest.mark.parametrize(
    "kinds",
    [
        USUAL,
        ("co_named_i2c", "co_named_line"),
        ("gas_bead_ads1115", "frame9_gas"),
        ("o2_amplified_ads1115", "frame9_gas"),
    ],
    ids="-".join,
)
def test_a_stalled_and_a_babbling_part_delay_no_other_bus(
    kinds: tuple[str, str],
) -> None:
    """Three seconds of each, beside the same without; the whole is in tests/bench.

    The promise is a call's deadline; measured are some hundredths of a second.  Fifty
    times what 9600 baud carry: a busy machine must not make the test.
    """
    well, faulty = compare(3.0, 50_000.0, kinds)
    for name, (_, worst_s) in faulty.late_s.items():
        assert worst_s <= DEADLINE_S, name
        assert faulty.readings[name] >= 0.7 * well.readings[name]
    assert faulty.faults["bus-stalled-bus"] == "bus-stuck"
    assert faulty.babbled_bytes > 10_000
    assert well.faults == {}
