"""`cabinvigil compare`: many nights, some of them odd."""

import json
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare
from tests.commands import calling
from tests.commands.test_morning import quiet
from tests.report import trials
from tests.review import logs


def test_one_night_that_cannot_be_read_does_not_end_the_comparison(
    tmp_path: Path,
) -> None:
    """R17: it is said, kept, and skipped; named by itself it is a mistake."""
    for day in (14, 15):
        logs.write(tmp_path, quiet(), f"night-2026-01-{day}.jsonl")
    empty = tmp_path / "night-2026-01-16.jsonl.gz"
    empty.write_bytes(b"")
    code, out, err = calling.call(compare, tmp_path)
    assert code == 0
    assert "2026-01-14" in out
    assert f"{empty.name}: holds no line" in err
    assert "kept, and skipped" in err
    code, out, err = calling.call(compare, empty, tmp_path)
    assert (code, out) == (2, "")
    assert empty.exists()


def test_of_many_nights_the_best_and_the_worst_are_told(tmp_path: Path) -> None:
    """R16: ninety nights were 816 lines."""
    for day in range(1, 29):
        data = quiet(0.6, o2_pct=20.5 - 0.02 * day)
        logs.write(tmp_path, data, f"night-2026-01-{day:02}.jsonl")
    code, out, err = calling.call(compare, tmp_path)
    assert (code, err) == (0, "")
    assert "28 nights: the best and the worst" in out
    safest = out.partition("safest:")[2].partition("\n\n")[0].splitlines()[1:]
    assert len(safest) == 21
    assert safest[0].startswith("  1. 2026-01-01")
    assert safest[10] == "  ... 7 more, then the worst:"
    # But for the one whose file is of an evening before: a day of it is missing.
    assert safest[-1].startswith("  27. 2026-01-28")
    whole = calling.call(compare, tmp_path, "--all")[1]
    assert whole.count("of the way to a waking limit") == 28
    assert len(json.loads(calling.call(compare, tmp_path, "--json")[1])["nights"]) == 28


def test_a_stretch_of_seconds_tells_nothing(tmp_path: Path) -> None:
    """R8: nothing shorter than a minute."""
    begin, _, rest = quiet().partition(b"\n")
    marks = logs.line("mark", 10.0, text="vent") + logs.line("mark", 40.0, text="door")
    path = logs.write(tmp_path, begin + b"\n" + marks + rest)
    code, out, err = calling.call(compare, f"{path}@vent..door", path)
    assert (code, out) == (2, "")
    assert "the stretch is shorter than 60 s; name marks further apart" in err


def test_the_verdict_is_said_first_and_the_trials_figures_with_it(
    tmp_path: Path,
) -> None:
    """The same sentence for people and programs; triples where something is sure."""
    path = f"{trials.log(tmp_path)}@trial"
    code, out, err = calling.call(compare, path)
    assert (code, err) == (0, "")
    first = " ".join(out.partition("\n\n")[0].split())
    assert first.startswith("'roof vent a third open' was safer than 'all shut'")
    assert "minutes to 19.5 % oxygen    32 (28 to 37)" in out
    assert "\nwind: not measured: a trial in another wind proves little\n" in out
    assert max(map(len, out.splitlines())) <= 80
    found = json.loads(calling.call(compare, path, "--json")[1])
    assert found["text"] == first
    shut, vent = found["nights"]
    assert (shut["trial"], shut["enough"], vent["people"]) == (True, "no", 0.0)
    assert vent["o2_minutes_to_19_5"] == [None, None, None]
    assert vent["o2_settles_pct"] == [20.2, 20.4, 20.6]
    assert shut["enough_why"] == "air past a waking limit"
    assert vent["wet_from_min"] is None


def test_a_night_is_no_trial(tmp_path: Path) -> None:
    """Its table is as it was, beneath the sentence; CO2 tells of one or two."""
    for day in (14, 15):
        logs.write(tmp_path, quiet(), f"night-2026-01-{day}.jsonl")
    out = calling.call(compare, tmp_path)[1]
    assert "minutes to 19.5" not in out
    found = json.loads(calling.call(compare, tmp_path, "--json")[1])
    assert [one["trial"] for one in found["nights"]] == [False, False]
    people = [one["people"] for one in found["nights"]]
    assert people == pytest.approx([1.75, 1.75], abs=0.75)
