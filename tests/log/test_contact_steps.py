"""A contact that closes for a moment stands in its half minute: it is no average."""

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.log.night import STEP_S
from cabinvigil.daemon.log.runs import read_tape
from tests.review import logs

LEVELS = st.lists(st.sampled_from([None, 0, 0, 0, 1, "x"]), min_size=1, max_size=60)


@settings(max_examples=60, deadline=None)
@given(LEVELS, st.sampled_from([1.0, 5.0, 10.0]))
def test_each_half_minute_is_closed_where_the_contact_was_at_all(
    levels: list[object], every_s: float
) -> None:
    rows = [
        (every_s * n, {"co_ppm": 1.0} | ({} if one is None else {"contact_smoke": one}))
        for n, one in enumerate(levels)
    ]
    with tempfile.TemporaryDirectory() as folder:
        path = logs.write(Path(folder), logs.begin() + logs.air(rows))  # type: ignore[arg-type]
        tape = read_tape([path])
    told: dict[int, set[object]] = {}
    for n, one in enumerate(levels):
        told.setdefault(int(every_s * n // STEP_S), set()).add(one)
    series = tape.series.get("contact_smoke", [None] * tape.count)
    for step, values in told.items():
        known = values & {0, 1}
        assert series[step] == (max(known) if known else None)  # type: ignore[type-var]
