"""A part that stalls or babbles holds up no other's readings: on real threads, ptys."""

from cabinvigil.daemon.sampling.buses import DEADLINE_S
from tests.bench.stalled_part import compare


def test_a_stalled_and_a_babbling_part_delay_no_other_bus() -> None:
    """Three seconds of each, beside the same without; the whole is in tests/bench.

    The promise is a call's deadline; measured are some hundredths of a second.  Fifty
    times what 9600 baud carry: a busy machine must not make the test.
    """
    well, faulty = compare(3.0, 50_000.0)
    for name, (_, worst_s) in faulty.late_s.items():
        assert worst_s <= DEADLINE_S, name
        assert faulty.readings[name] >= 0.7 * well.readings[name]
    assert faulty.faults["bus-stalled-bus"] == "bus-stuck"
    assert faulty.babbled_bytes > 10_000
    assert well.faults == {}
