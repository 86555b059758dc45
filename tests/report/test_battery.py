"""A battery's charge over the night: the lowest is told, wherever it came."""

import json
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.commands import morning
from tests.commands.calling import call
from tests.review import logs

CHARGES = st.lists(st.integers(1, 100), min_size=1, max_size=6)


def told(charges: list[int], *, has_warmth: bool) -> tuple[str, dict[str, object]]:
    """Tell a night whose gauge gave each of these for ten minutes."""
    rows = []
    for n in range(60 * len(charges)):
        values = {"o2_pct": 20.6 + 0.001 * (n % 7), "co_ppm": 1.0 + 0.1 * (n % 5)}
        values["charge_pct"] = float(charges[n // 60])
        if has_warmth:
            values["temp_c"] = 15.0 + 0.1 * (n % 3)
        rows.append((10.0 * n, values))
    with tempfile.TemporaryDirectory() as folder:
        logs.write(Path(folder), logs.begin() + logs.air(rows))
        text = call(morning, folder)[1]
        plain = json.loads(call(morning, folder, "--json")[1])
    return " ".join(text.split()), plain["comfort"]


@settings(max_examples=12, deadline=None)
@given(CHARGES, st.booleans())
def test_the_lowest_charge_of_the_night_is_told(
    charges: list[int], has_warmth: bool
) -> None:
    """With the warmth, or alone where nothing measures that."""
    text, comfort = told(charges, has_warmth=has_warmth)
    first, lowest = charges[0], min(charges)
    word = "charge" if has_warmth else "Power Charge"
    assert f"{word} {first}, at lowest {lowest} %" in text
    assert comfort["charge_pct_first_lowest"] == [first, lowest]
    assert comfort["supply_v_first_lowest"] is None
