"""`cabinvigil compare`: many nights, some of them odd."""

from pathlib import Path

from cabinvigil.daemon.commands import compare
from tests.commands import calling
from tests.commands.test_morning import quiet
from tests.review import logs


def test_one_night_that_cannot_be_read_does_not_end_the_comparison(
    tmp_path: Path,
) -> None:
    """R17: it is said, kept, and passed over; named by itself it is a mistake."""
    for day in (14, 15):
        logs.write(tmp_path, quiet(), f"night-2026-01-{day}.jsonl")
    empty = tmp_path / "night-2026-01-16.jsonl.gz"
    empty.write_bytes(b"")
    code, out, err = calling.call(compare, tmp_path)
    assert code == 0
    assert "2026-01-14" in out
    assert f"{empty.name}: holds no line" in err
    assert "kept, and passed over" in err
    code, out, err = calling.call(compare, empty, tmp_path)
    assert (code, out) == (2, "")
    assert empty.exists()
