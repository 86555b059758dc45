"""Every part with every fault: none is silent, and none is for good."""

from itertools import pairwise
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.known import ON_I2C
from cabinvigil.daemon.rehearsal.faults import (
    FILE_FAULTS,
    I2C_FAULTS,
    LINE_FAULTS,
    SERIAL_FAULTS,
)
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.sampler import BACK_OFF_CAP_S
from cabinvigil.drivers import part as find_part
from tests.emulation import Cabin, Fails, live
from tests.rehearsal.emulated.truths import TRUTHS

SEEN_LATE = {"stick", "identity"}
"""A repeated value is for the rules to see; a stranger is not on every wire."""
FAULTS = {"i2c": I2C_FAULTS, "serial": SERIAL_FAULTS, "file": FILE_FAULTS}
FAULTS["line"] = LINE_FAULTS
MATRIX = [
    (kind, fault)
    for kind in sorted(TRUTHS)
    for fault in sorted(FAULTS[find_part(kind).bus])
    if fault != "identity" or find_part(kind).bus == "i2c"
]


def unheard_s(cabin: Cabin, quantity: str, from_s: float, to_s: float) -> float:
    """Return the longest time with neither a value nor a standing fault."""
    heard = [(t, "value") for t, _ in cabin.of("it", quantity)]
    told = [
        (t, "fault" if isinstance(e, SourceFault) else "ok") for t, e in cabin.events
    ]
    longest_s, since_s, stands = 0.0, from_s, False
    for at_s, what in sorted(heard + told):
        if from_s <= at_s <= to_s and not stands:
            longest_s = max(longest_s, at_s - since_s)
        if what != "value":
            stands = what == "fault"
        since_s = max(at_s, from_s)
    return longest_s


@pytest.mark.parametrize(("kind", "fault"), MATRIX)
def test_no_fault_is_silent_and_none_is_for_good(
    kind: str, fault: str, tmp_path: Path
) -> None:
    """For every part and fault: told within the age limit or values go on; nothing
    false is delivered by a part that has a check; all is well again without a restart.
    """
    info = find_part(kind)
    begin, end = 200.0, 320.0
    cabin = run_virtual(
        live(tmp_path, {"it": kind}, 500.0, Fails("it", fault, begin, end))
    )
    truth = TRUTHS[kind]
    quantity, true = truth.quantity, truth.true(AirNow())
    limit_s = info.max_age_s + info.interval_s + 3.0
    assert unheard_s(cabin, quantity, begin, end) <= limit_s
    during = [s.value for t, s in cabin.of("it", quantity) if begin <= t < end]
    if truth.has_check and fault not in SEEN_LATE:
        assert all(abs(value - true) <= truth.each_within for value in during)
    after_s = end + BACK_OFF_CAP_S + info.max_age_s
    after = [s.value for t, s in cabin.of("it", quantity) if t > after_s]
    assert len(after) > 3
    assert all(abs(value - true) <= truth.each_within for value in after)
    for source in {e.source for _, e in cabin.events}:
        kinds = [k for _, k in cabin.told(source)]
        # An hour's count may stand on; any other fault is over.
        assert kinds[-1] in ("", "unsteady", "checksum", "short", "framing"), kinds


def test_the_night_failing_is_in_words_that_wires_know() -> None:
    """Every failure of the named nights is a word of some wire."""
    words = I2C_FAULTS | SERIAL_FAULTS | FILE_FAULTS
    failures = [f for night in NIGHTS.values() for f in night.failures]
    assert failures
    assert {f.fault for f in failures} <= words


@pytest.mark.parametrize("fault", ["stall", "vanish", "babble"])
@pytest.mark.parametrize("kind", sorted({k for k in TRUTHS if k in ON_I2C} - {"scd4x"}))
def test_a_part_that_fails_delays_no_other_on_its_bus(
    kind: str, fault: str, tmp_path: Path
) -> None:
    """Nor does one that starts up: each other interval has its value."""
    parts = {"it": kind, "other": "scd4x"}
    cabin = run_virtual(live(tmp_path, parts, 200.0, Fails("it", fault, 60.0, 150.0)))
    heard = [at_s for at_s, _ in cabin.of("other", "co2_ppm")]
    gaps_s = [after - before for before, after in pairwise(heard)]
    assert max(gaps_s) <= 1.2 * find_part("scd4x").interval_s
    assert {one.source for _, one in cabin.events} <= {"it"}
