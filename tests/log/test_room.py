"""What is kept of a night is bounded, and what there was no room for is told."""

import json
import tracemalloc
from pathlib import Path

import pytest

from cabinvigil.daemon.log import room
from cabinvigil.daemon.log.room import Room
from cabinvigil.daemon.log.runs import read_tape
from tests.review import logs


def test_a_large_cabin_s_long_night_fits(tmp_path: Path) -> None:
    """Sixty series for a day, a start an hour, and thousands of alarms."""
    values = {f"temp_c_p{n}": 10.0 for n in range(60)}
    rows = [(30.0 * n, values) for n in range(2880)]
    starts = b"".join(
        logs.line("start", 30.0 * n, config=logs.config(), continues=False)
        for n in range(0, 2880, 120)
    )
    alarms = b"".join(
        logs.line("alarm", 86400.0 + n, alarm="cold", state="normal", text="Warmer.")
        for n in range(3000)
    )
    path = logs.write(tmp_path, starts + logs.begin() + logs.air(rows) + alarms)
    tape = read_tape([path])
    assert tape.flaws.is_clean
    assert len(tape.series) == 60


def test_thousands_of_starts_keep_one_config(tmp_path: Path) -> None:
    """A watch that restarts each ten seconds all night has 3,000 of 13 kB."""
    data = b"".join(
        logs.begin() + logs.line("air", 5.0, o2_pct=20.5) for _ in range(1000)
    )
    path = logs.write(tmp_path, data)
    tracemalloc.start()
    try:
        tape = read_tape([path])
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert tape.starts == 1000
    assert tape.flaws.is_clean
    assert tape.config == json.loads(json.dumps(logs.config()))
    assert peak < 20 << 20


@pytest.mark.parametrize("kind", ["series", "values", "lines", "runs"])
def test_what_has_no_room_is_left_out_and_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(room, "MOST_BYTES", 200_000)
    data = {
        "series": logs.air((float(n), {f"temp_c_p{n}": 1.0}) for n in range(200)),
        "values": logs.air((30.0 * n, {"o2_pct": 20.5}) for n in range(4000)),
        "lines": logs.line("mark", 2.0, text="x" * 1000, by="phone") * 300,
        "runs": (logs.line("start", 0.0) + logs.line("air", 1.0, o2_pct=20.0)) * 300,
    }[kind]
    tape = read_tape([logs.write(tmp_path, logs.begin(config={}) + data)])
    assert not tape.flaws.is_clean
    assert "are more than a night can have, and were left out." in tape.flaws.told[-1]


def test_once_there_is_no_room_nothing_later_is_taken() -> None:
    """It would stand beside a hole that nobody sees."""
    full = Room()
    assert not full.has_values(1 << 30)
    assert not full.has_values()
    assert full.refused == 2
