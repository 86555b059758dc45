"""What a sentence says aloud is what was read, and what it rings for."""

import json
import random
import re
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main


@pytest.fixture(scope="module")
def texts(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """700 ppm for 20 minutes, then 80 ppm a second up to 10 000, and no further.

    A single jump, as of a breath on the part, rings nothing any more.
    """
    noise = random.Random(7)
    lines = ["time_s,o2_pct,co2_ppm,co_ppm"]
    for second in range(0, 1440, 5):
        climbed_ppm = 80.0 * max(0, second - 1200)
        co2_ppm = min(700.0 + climbed_ppm + noise.gauss(0.0, 5.0), 10_000.0)
        o2_pct = 20.85 + noise.gauss(0.0, 0.01)
        lines.append(f"{second},{o2_pct:.3f},{co2_ppm:.0f},0")
    folder = tmp_path_factory.mktemp("breath")
    path, told = folder / "breath.csv", folder / "told"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.MonkeyPatch.context() as patch, told.open("w") as out:
        patch.setattr("sys.stdout", out)
        assert main(["replay", str(path), "--json"]) == 0
    rows = map(json.loads, told.read_text(encoding="utf-8").splitlines())
    return [
        row["text"].replace("\u00a0", " ")
        for row in rows
        if row["alarm"].endswith("-projected") and row["state"] == "unacknowledged"
    ]


def test_no_carbon_dioxide_is_told_that_nobody_read(texts: list[str]) -> None:
    said = [int(ppm) for text in texts for ppm in re.findall(r"(\d+) ppm", text)]
    assert said
    assert max(said) <= 10_000


def test_no_forecast_wakes_for_what_comes_in_hours(texts: list[str]) -> None:
    """It rings for what comes within 22 minutes."""
    minutes = [int(n) for text in texts for n in re.findall(r"in (\d+) minute", text)]
    assert all(n <= 22 for n in minutes)
    assert not [text for text in texts if "hours" in text]


def test_a_danger_is_told_with_no_number_of_a_lesser_step(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """350 ppm for 40 minutes, then clean: the mean of eight hours is no danger's."""
    lines = ["time_s,o2_pct,co_ppm,co2_ppm"]
    for second in range(0, 7200, 10):
        co_ppm = 350.0 if 1200 <= second < 3600 else 0.1 * (second // 10 % 3)
        lines.append(f"{second},20.8{second // 10 % 3},{co_ppm:.1f},{800 + second % 7}")
    path = tmp_path / "past.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert main(["replay", str(path), "--json"]) == 0
    rows = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    told = [
        row["text"].replace("\u00a0", " ")
        for row in rows
        if row["alarm"] == "co-level" and row["priority"] == "high"
    ]
    assert len(told) >= 2
    assert "carbon monoxide 350 ppm" in told[0]
    assert "better now" in told[-1], "it is over, and unanswered"
    numbers = {ppm for text in told for ppm in re.findall(r"(\d+) ppm", text)}
    assert numbers == {"350"}
