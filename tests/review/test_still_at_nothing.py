"""A carbon monoxide part that shows 0.0 all night, beside a lit heater."""

import json
from pathlib import Path
from random import Random

import pytest

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import files
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.report.text import account
from cabinvigil.daemon.review.health import still_at_nothing
from tests.review import logs, named


def night(folder: Path, risen_ppm: float, co_ppm: float, hours: float = 4.0) -> Path:
    """Carbon dioxide that rises by so much over the night; 0.0: not a flicker."""
    random = Random(1)
    count = int(hours * 360)
    rows = [
        (
            10.0 * n,
            {
                "o2_pct": 20.6
                - 1.6e-4 * risen_ppm * n / count
                + random.gauss(0.0, 0.003),
                "co2_ppm": 600.0 + risen_ppm * n / count,
                "co_ppm": co_ppm and co_ppm + random.gauss(0.0, 0.1),
            },
        )
        for n in range(count)
    ]
    return logs.write(folder, logs.begin() + logs.air(rows))


@pytest.mark.parametrize(
    ("risen_ppm", "co_ppm", "hours", "found"),
    [
        (4000.0, 0.0, 4.0, ["co_ppm"]),
        (4000.0, 3.0, 4.0, []),  # it flickers, as a part that sees does
        (1000.0, 0.0, 4.0, []),  # little was given off
        (4000.0, 0.0, 0.9, []),  # too short to tell
    ],
)
def test_one_value_all_night_is_found(
    tmp_path: Path, risen_ppm: float, co_ppm: float, hours: float, found: list[str]
) -> None:
    """Only where carbon dioxide rose meanwhile."""
    tape = read_tape([night(tmp_path, risen_ppm, co_ppm, hours)])
    assert still_at_nothing(tape) == found


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize(
    ("name", "co_ppm", "asks"),
    [("shut", 0.0, 1), ("shut", 3.0, 0), ("crowded", 0.0, 0)],
)
def test_the_morning_asks_for_test_gas(
    tmp_path: Path, name: str, co_ppm: float, asks: int
) -> None:
    """One line, naming the part; without a flame nothing gives off the gas."""
    data, _ = named.night(name)
    lines = [json.loads(line) for line in data.splitlines()]
    for n, line in enumerate(lines):
        if line["event"] == "air":
            line["co_ppm"] = co_ppm and co_ppm + 0.1 * (n % 3)
    text = b"".join(json.dumps(line).encode() + b"\n" for line in lines)
    found = give_account(files(logs.write(tmp_path, text)))
    told = " ".join(account(found).split())
    assert told.count("Try bunk-co with test gas: it showed one value all") == asks
