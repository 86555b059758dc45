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
        ("time_s,oxygen\n0,20\n", "line 1: column 'oxygen' is no known quantity"),
        ("time_s\n0\n", "line 1: has no quantity"),
        ("time_s,o2_pct,o2_pct\n0,1,2\n", "column o2_pct stands there twice"),
        ("time_s,o2_pct\n0,20.9\n1,fine\n", "line 3, column o2_pct: 'fine'"),
        ("time_s,o2_pct\nnoon,20.9\n", "line 2, column time_s: 'noon'"),
        ("time_s,o2_pct\ninf,20.9\n", "line 2, column time_s: 'inf'"),
        ("time_s,o2_pct\n,20.9\n", "line 2, column time_s: ''"),
        ("time_s,o2_pct\n0,20.9,1\n", "line 2: has 3 cells"),
        ("time_s,o2_pct\n5,20.9\n4,20.9\n", "time_s goes back from 5 to 4"),
    ],
)
def test_refusals_say_where(tmp_path: Path, text: str, said: str) -> None:
    """Each refusal names the file, the line or column, and how to mend it."""
    path = _file(tmp_path, text)
    with pytest.raises(RecordingError) as error:
        _read(path)
    assert said in str(error.value)
    assert str(path) in str(error.value)


def test_no_file_and_no_text(tmp_path: Path) -> None:
    """A missing file and one that is no text are refused in a sentence."""
    with pytest.raises(RecordingError, match="cannot be read"):
        Recording(tmp_path / "none.csv")
    path = tmp_path / "bytes.csv"
    path.write_bytes(b"time_s,o2_pct\n0,\xff\xfe\n")
    with pytest.raises(RecordingError, match="is no CSV text"):
        _read(path)
