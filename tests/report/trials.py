"""Two trials of one evening, written line by line, and their report."""

from pathlib import Path

from cabinvigil.daemon.commands import compare
from tests.commands import calling
from tests.review import logs

HOUR = 3600.0
SHUT, OPEN = "all shut", "roof vent a third open"


def log(folder: Path) -> Path:
    """`all shut` falls below 19.5 % within the hour; the other stays at 20.4 %."""
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR / 2.0))
    for number, (text, fall) in enumerate(((SHUT, 2.4), (OPEN, 0.4))):
        from_s = HOUR / 2.0 + number * 1.5 * HOUR
        data += logs.line("trial", from_s, state="begun", text=text, for_s=HOUR)
        rows = logs.still_air(from_s + 1.0, from_s + HOUR)
        data += logs.air(
            (at, {**row, "o2_pct": 20.8 - fall * (at - from_s) / HOUR, "temp_c": 12.0})
            for at, row in rows
        )
        ended = from_s + HOUR
        settles = [20.8 - fall - 0.2, 20.8 - fall, 20.8 - fall + 0.2]
        data += logs.line("estimate", ended - 5.0, o2_settles_pct=settles)
        data += logs.line("trial", ended, state="ended", text=text, why="command")
        data += logs.air(logs.still_air(ended + 1.0, ended + HOUR / 2.0))
    return logs.write(folder, data)


def report(folder: Path) -> str:
    """The report of these trials."""
    page = folder / "report.html"
    code, _, err = calling.call(compare, f"{log(folder)}@trial", "--page", str(page))
    assert (code, err) == (0, "")
    return page.read_text(encoding="utf-8")
