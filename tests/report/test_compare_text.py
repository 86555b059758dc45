"""Nights side by side: three ranks, and what is no surer than chance."""

import csv
import io
import json
import tracemalloc
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.commands import compare as compare_command
from cabinvigil.daemon.commands import morning as morning_command
from cabinvigil.daemon.report.compare_text import picture_rows, table
from cabinvigil.daemon.review.compare import Sheet, ranks
from tests.commands import calling
from tests.review import logs, named

HOUR = 3600.0


def call(*words: str) -> tuple[int, str, str]:
    return calling.call(compare_command, *words)


def a_sheet(name: str) -> Sheet:
    return Sheet(
        name=name,
        hours=9.0,
        margin=0.5,
        margin_sd=0.05,
        nearest="o2_pct",
        beyond_min=0.0,
        wet_h=1.0,
        water_left_kg=(0.1, 0.3, 0.5),
        gas_kwh=(5.0, 6.0, 7.0),
        gas_kg=(0.36, 0.43, 0.5),
        kept_k=20.0,
        w_per_k=(28.0, 33.0, 38.0),
        air_changes_per_h=(3.0, 3.5, 4.0),
        unseen_min=0.0,
        past="",
    )


def test_a_night_past_a_limit_stands_apart() -> None:
    """It is neither the safer, nor the drier, nor the cheaper one: it is not ranked."""
    bad = replace(a_sheet("bad"), beyond_min=12.0, past="carbon monoxide in the blood")
    bad = replace(bad, wet_h=0.0, w_per_k=(1.0, 2.0, 3.0))
    sheets = [bad, a_sheet("good")]
    assert [one.order for one in ranks(sheets)] == [(1,), (1,), (1,)]
    text = table(sheets, ranks(sheets))
    assert "not safe, and not ranked:\n  bad: carbon monoxide in the blood" in text
    drawn = {one.label for rows in picture_rows(sheets) for one in rows.rows}
    assert drawn == {"good"}


def test_what_lies_within_doubt_is_ordered_and_not_sure() -> None:
    """0.50 and 0.52 with an sd of 0.05 each differ by chance."""
    sheets = [a_sheet("a"), replace(a_sheet("b"), margin=0.52)]
    safest, driest, cheapest = ranks(sheets)
    assert safest.order == (1, 0)
    assert not any((*safest.is_sure, *driest.is_sure, *cheapest.is_sure))


def test_doubt_is_that_of_both() -> None:
    """33 (28 to 38) and 48 (43 to 53) W/K: 15 apart, and doubt is 7."""
    other = replace(a_sheet("b"), w_per_k=(43.0, 48.0, 53.0))
    near = replace(a_sheet("c"), w_per_k=(33.0, 38.0, 43.0))
    assert ranks([other, a_sheet("a")])[2].is_sure == (True,)
    assert ranks([near, a_sheet("a")])[2].is_sure == (False,)


def test_what_cannot_be_told_has_no_rank() -> None:
    """No gas burnt: no rank in economy."""
    cold = replace(a_sheet("cold"), w_per_k=None)
    assert ranks([cold, a_sheet("a")])[2].order == (1,)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two nights of one folder: one good, one with all vents shut."""
    folder = tmp_path_factory.mktemp("nights")
    for day, name in ((15, "shut"), (16, "quiet")):
        log, _ = named.night(name)
        logs.write(folder, logs.ended(log), f"night-2026-01-{day}.jsonl.gz")
    return folder


def test_a_folder_is_all_its_nights(folder: Path) -> None:
    """Ranked as the truth is: `quiet` is safest and driest."""
    code, out, err = call(str(folder), "--json")
    found = json.loads(out)
    assert (code, err) == (0, "")
    assert [one["name"] for one in found["nights"]] == ["2026-01-15", "2026-01-16"]
    order = {one["rank"]: one for one in found["ranks"]}
    assert [one["past"] for one in found["nights"]] == ["air past a waking limit", None]
    assert order["safest"]["order"] == ["2026-01-16"]
    assert order["driest"]["order"] == ["2026-01-16"]


def test_the_table_fits_a_terminal_and_the_csv_a_sheet(folder: Path) -> None:
    """80 columns; a row a night, three columns an estimate."""
    _, out, _ = call(str(folder))
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "safest: no order, since only 2026-01-16 can be ranked" in out
    _, out, _ = call(str(folder), "--csv")
    rows = list(csv.DictReader(io.StringIO(out)))
    assert len(rows) == 2
    assert float(rows[1]["gas_kg_p5"]) < float(rows[1]["gas_kg_p95"])


def test_a_row_of_the_csv_has_what_the_morning_says(folder: Path) -> None:
    """R22: verdict, worst air and lit hours had to be looked up elsewhere."""
    _, out, _ = call(str(folder), "--csv")
    for row in csv.DictReader(io.StringIO(out)):
        path = folder / f"night-{row['name']}.jsonl.gz"
        _, told, _ = calling.call(morning_command, path, "--json")
        found = json.loads(told)
        assert row["verdict"] == found["verdict"]
        assert float(row["lit_h"]) == found["lit_h"]
        closest = {}
        for one in found["closest"]:
            if not one["over_s"]:
                closest.setdefault((one["quantity"], one["side"]), one["value"])
        for column, which in {
            "least_o2_pct": ("o2_pct", "below"),
            "most_co_ppm": ("co_ppm", "above"),
            "most_co2_ppm": ("co2_ppm", "above"),
        }.items():
            assert float(row[column]) == pytest.approx(closest[which], rel=0.01)


def test_nights_of_one_date_are_told_apart_by_their_folders(tmp_path: Path) -> None:
    """Two rehearsals are both of 16 January; a rank that names a date says nothing."""
    data = logs.ended(logs.begin() + logs.air(logs.still_air(0.0, HOUR)))
    for name in ("a/shut", "a/quiet", "b/quiet"):
        (tmp_path / name).mkdir(parents=True)
        logs.write(tmp_path / name, data, "night-2026-01-16.jsonl")
    day = "2026-01-16"
    _, out, _ = call(str(tmp_path / "a/shut"), str(tmp_path / "a/quiet"), "--json")
    names = [one["name"] for one in json.loads(out)["nights"]]
    assert names == [f"shut/{day}", f"quiet/{day}"]
    _, out, _ = call(str(tmp_path / "a/quiet"), str(tmp_path / "b/quiet"))
    assert f"a/quiet/{day}  (1.0 h)\n" in out
    assert f"\n  1. a/quiet/{day}" in out


def test_a_night_cut_off_has_no_place_beside_a_bad_one(tmp_path: Path) -> None:
    """It was "safest: 1.", while whether it was enough was not known."""
    for day, name in ((15, "shut"), (16, "quiet")):
        data = named.night(name)[0]
        data = logs.ended(data) if name == "shut" else data
        logs.write(tmp_path, data, f"night-2026-01-{day}.jsonl")
    _, out, _ = call(str(tmp_path))
    assert "2026-01-16 was safer" not in out
    assert "safest: no night to rank" in out
    assert "not proved, and not ranked as safe:\n  2026-01-16: not all of it" in out


def test_a_night_that_nobody_watched_is_not_called_safe(tmp_path: Path) -> None:
    """It has no place in the rank, and what is missing is said."""
    for day, name in ((15, "quiet"), (16, "failing")):
        data = logs.ended(named.night(name)[0])
        logs.write(tmp_path, data, f"night-2026-01-{day}.jsonl")
    _, out, _ = call(str(tmp_path))
    [safest] = [part for part in out.split("\n\n") if part.startswith("safest")]
    assert "2026-01-16" not in safest
    assert "2026-01-15" in safest
    [missing] = [part for part in out.split("\n\n") if part.startswith("not proved")]
    assert "\n  2026-01-16: carbon monoxide was not known for 42 min" in missing


def test_memory_does_not_grow_with_the_nights(tmp_path: Path) -> None:
    """Each is read, summed up and let go: what stays is its line, not its readings."""
    air = logs.still_air(0.0, 900.0, 30.0)
    peaks = []
    for count in (3, 3, 30):  # the first warms up what is kept for good
        folder = tmp_path / str(count)
        folder.mkdir(exist_ok=True)
        for day in range(count):
            begins = logs.START + timedelta(days=day - 15)
            data = logs.begin(begins) + logs.air(air, begins)
            logs.write(folder, data, f"night-2026-01-{day + 1:02}.jsonl.gz")
        tracemalloc.start()
        code, out, _ = call(str(folder), "--json")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert code == 0
        assert len(json.loads(out)["nights"]) == count
    # A night held in memory takes twenty times as much; other threads count too.
    assert peaks[2] - peaks[1] < 27 * 4096


def test_a_stretch_lies_between_two_marks(tmp_path: Path) -> None:
    """By words or number; a side left out is the night's own end."""
    rows = logs.still_air(0.0, 3 * HOUR)
    data = logs.begin() + logs.air(rows[:360])
    data += logs.line("mark", HOUR, text="Roof vent open")
    data += logs.air([(at, {**row, "o2_pct": 19.2}) for at, row in rows[360:720]])
    data += logs.line("mark", 2 * HOUR, text="Roof vent shut") + logs.air(rows[720:])
    path = logs.write(tmp_path, data)
    parts = (f"{path}@..1", f"{path}@roof vent open..roof vent shut", f"{path}@2..")
    code, out, _ = call(*parts, "--json")
    nights = json.loads(out)["nights"]
    assert code == 0
    assert [one["hours"] for one in nights] == [1.0, 1.0, 1.0]
    assert [one["beyond_min"] for one in nights] == [0.0, 60.0, 0.0]


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ("{path}@roof..", "more than one mark 'roof'; its marks: 1 'roof"),
        ("{path}@door..", "no mark 'door'"),
        ("{path}@door", "FILE@MARK..MARK"),
        ("{path}@2..1", "ends before it begins"),
        ("nowhere.jsonl", "not found"),
    ],
)
def test_a_wrong_stretch_is_one_sentence(tmp_path: Path, words: str, told: str) -> None:
    """With the marks that there are."""
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR))
    for n, text in enumerate(("roof open", "roof shut")):
        data += logs.line("mark", HOUR + n, text=text)
    path = logs.write(tmp_path, data)
    code, out, err = call(words.format(path=path), str(path))
    assert (code, out) == (2, "")
    assert told in err
    assert err.count("\n") == 1


def test_one_night_alone_is_no_comparison(tmp_path: Path) -> None:
    """The sentence asks for another."""
    path = logs.write(tmp_path, logs.begin() + logs.air(logs.still_air(0.0, HOUR)))
    code, _, err = call(str(path))
    assert code == 2
    assert "two nights" in err


def test_the_picture_is_drawn_or_says_why_not(folder: Path, tmp_path: Path) -> None:
    """By its ending; a folder that is not found is one sentence."""
    picture = tmp_path / "nights.svg"
    assert call(str(folder), "--picture", str(picture))[0] == 0
    text = picture.read_text(encoding="utf-8")
    assert "Water left behind" in text
    assert "2026-01-16" in text
    code, _, err = call(str(folder), "--picture", str(tmp_path / "no" / "x.svg"))
    assert code == 2
    assert "cannot be written" in err
