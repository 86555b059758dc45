"""CSV recordings: what is read, and every refusal with its line and column."""

import math
from pathlib import Path

import pytest

from cabinvigil.daemon.log.csv import Recording, RecordingError


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "air.csv"
    path.write_text(text, encoding="utf-8")
    return path


def _read(path: Path) -> list[tuple[float, dict[str, float]]]:
    return [(row.time_s, row.values) for row in Recording(path).rows()]


def test_rows_hold_what_was_given(tmp_path: Path) -> None:
    """An empty cell is absent, not zero; spaces do not matter; order is kept."""
    path = _file(tmp_path, "time_s, o2_pct,co2_ppm\n-5,20.9,\n0.5, 20.8 ,600\n")
    assert _read(path) == [
        (-5.0, {"o2_pct": 20.9}),
        (0.5, {"o2_pct": 20.8, "co2_ppm": 600.0}),
    ]


def test_the_usual_step_is_learnt_and_no_row_lost(tmp_path: Path) -> None:
    """Asking for the step first does not eat rows; one odd gap does not rule."""
    rows = "".join(f"{10 * i + (300 if i > 5 else 0)},20.9\n" for i in range(12))
    recording = Recording(_file(tmp_path, "time_s,o2_pct\n" + rows))
    assert recording.step_s() == 10.0
    assert len(list(recording.rows())) == 12


def test_a_lone_row_has_a_step_too(tmp_path: Path) -> None:
    """One row tells no step; a second is taken."""
    recording = Recording(_file(tmp_path, "time_s,o2_pct\n0,20.9\n"))
    assert recording.step_s() == 1.0
    recording.close()


def test_blank_lines_and_byte_order_mark_are_passed_over(tmp_path: Path) -> None:
    """Spreadsheets leave both behind."""
    path = _file(tmp_path, "\ufefftime_s,o2_pct\n\n0,20.9\n , \n1,20.8\n")
    assert [time_s for time_s, _ in _read(path)] == [0.0, 1.0]


def test_a_number_that_is_none_is_the_rules_business(tmp_path: Path) -> None:
    """`nan` is a number to CSV writers; the core refuses it as out of range."""
    ((_, values),) = _read(_file(tmp_path, "time_s,o2_pct\n0,nan\n"))
    assert math.isnan(values["o2_pct"])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is empty"),
        ("o2_pct,co2_ppm\n20,400\n", "line 1: has no column time_s"),
        ("time_s,oxygen\n0,20\n", "line 1: column 'oxygen' is not a known quantity"),
        ("time_s\n0\n", "line 1: has no quantity"),
        ("time_s,o2_pct,o2_pct\n0,1,2\n", "column o2_pct is there twice"),
        ("time_s,o2_pct\n0,20.9\n1,fine\n", "line 3, column o2_pct: 'fine'"),
        ("time_s,o2_pct\nnoon,20.9\n", "line 2, column time_s: 'noon'"),
        ("time_s,o2_pct\ninf,20.9\n", "line 2, column time_s: 'inf'"),
        ("time_s,o2_pct\n,20.9\n", "line 2, column time_s: ''"),
        ("time_s,o2_pct\n0,20.9,1\n", "line 2: has 3 cells"),
        ("time_s,o2_pct\n5,20.9\n4,20.9\n", "time_s goes back from 5 to 4"),
        ("time_s,o2_pct\n", "has a header and no row below it; give the rows too"),
        ("time_s,o2_pct\n\n , \n", "has a header and no row below it"),
        ("time_s;o2_pct\n0;20,9\n", "line 1: semicolons separate its columns"),
        ("sep=;\ntime_s;o2_pct\n0;20,9\n", "line 1: semicolons separate"),
        ("time_s\to2_pct\n0\t20.9\n", "line 1: tabs separate its columns; save"),
        ("time_s,o2_pct\n0,20,9\n", "has 3 cells where the header has 2; add or"),
        ('time_s,o2_pct\n0,"20,9"\n', "column o2_pct: '20,9' has a comma; write 20.9"),
        ("time_s,o2_pct\n22:00:05,20\n", "'22:00:05' is a date or a time of day; wr"),
        ("time_s,o2_pct\n2026-01-16,2\n", "'2026-01-16' is a date or a time of day"),
        ("time_s,contact\n0,1\n", "'contact' does not say what the contact reports"),
        ("time_s,contact_fire\n0,1\n", "name it like contact_smoke: one of smoke, gas"),
        ("time_s,contact_co\n0,0.5\n", "column contact_co: '0.5' is neither 0 nor 1"),
        ("time_s,contact_co\n0,nan\n", "line 2, column contact_co: 'nan' is neither"),
    ],
)
def test_refusals_say_where(tmp_path: Path, text: str, said: str) -> None:
    """Each refusal names the file, the line or column, and how to mend it."""
    path = _file(tmp_path, text)
    with pytest.raises(RecordingError) as error:
        _read(path)
    assert said in str(error.value)
    assert str(path) in str(error.value)


@pytest.mark.parametrize(
    ("times", "said"),
    [
        ((0, 1000, 2000), "has a step of 1000, and looks like milliseconds; divide it"),
        ((0, 997, 2003, 2996), "looks like milliseconds; divide it by 1000"),
        ((0, 30000, 60000), "looks like milliseconds"),
        ((0, 5000000, 10000000), "looks like microseconds; divide it by 1000000"),
        ((1768597200000,), "looks like milliseconds since 1970; divide it by 1000"),
        ((1768597200000000,), "looks like microseconds since 1970"),
        ((1768597200000000000,), "looks like nanoseconds since 1970"),
        ((46038.5, 46038.500116, 46038.500232), "a spreadsheet's days; subtract the"),
        ((46038.5, 46038.5417, 46038.5833), "multiply by 86400"),
        ((0, 0.0028, 0.0056), "looks like hours (multiply it by 3600) or days"),
        ((0, 0.0001, 0.0002), "looks like days (multiply it by 86400)"),
        ((0, 1e-9, 2e-9), "too short for seconds; it is in no unit known here"),
    ],
)
def test_time_that_is_no_seconds_is_named(
    tmp_path: Path, times: tuple[float, ...], said: str
) -> None:
    """R21: taken in silence, a night at 17.9 % rang one low alarm, or none."""
    rows = "".join(f"{at!r},17.9\n" for at in times)
    path = _file(tmp_path, "time_s,o2_pct\n" + rows)
    for read in (_read, lambda one: Recording(one).step_s()):
        with pytest.raises(RecordingError) as error:
            read(path)
        assert said in str(error.value)
        assert str(error.value).startswith(f"{path}: time_s ")


@pytest.mark.parametrize("step_s", [0.5, 1, 10, 59.9, 60, 300, 600, 900, 1800, 3600])
@pytest.mark.parametrize("first_s", [0.0, -900.0, 1768597200.0, 46038.0])
def test_seconds_are_seconds(tmp_path: Path, step_s: float, first_s: float) -> None:
    """From the first row, of the epoch, or from wherever; a rare one is said."""
    rows = "".join(f"{first_s + step_s * n!r},20.9\n" for n in range(9))
    recording = Recording(_file(tmp_path, "time_s,o2_pct\n" + rows))
    (*said,) = recording.notes()
    assert len(list(recording.rows())) == 9
    assert len(said) == (step_s > 60)
    if said:
        assert (
            f"a row each {step_s:g} s, where a night is judged each minute" in said[0]
        )


def test_no_file_and_no_text(tmp_path: Path) -> None:
    """A missing file and one that is no text are refused in a sentence."""
    with pytest.raises(RecordingError, match="cannot be read"):
        Recording(tmp_path / "none.csv")
    path = tmp_path / "bytes.csv"
    path.write_bytes(b"time_s,o2_pct\n0,\xff\xfe\n")
    with pytest.raises(RecordingError, match="is not CSV text"):
        _read(path)
