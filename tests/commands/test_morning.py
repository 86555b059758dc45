"""`cabinvigil morning`: which night, what it says, and with which exit code."""

import json
import math
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest

from cabinvigil.daemon.commands import morning
from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.log.find import NightError, chosen, files
from cabinvigil.daemon.report.json import as_json, summary
from cabinvigil.daemon.report.text import COLUMNS, LINES, account
from tests.commands import calling
from tests.review import logs, named

HOUR = 3600.0


def call(*words: str) -> tuple[int, str, str]:
    return calling.call(morning, *words)


def quiet(hours: float = 1.0, **values: float) -> bytes:
    air = logs.air(logs.still_air(0.0, hours * HOUR, **values))
    return logs.begin() + air + logs.line("stop", hours * HOUR, reason="SIGTERM")


def test_a_night_that_just_ends_is_not_well(tmp_path: Path) -> None:
    """R13: battery flat, Pi dead: it was 'Safe.' with all of it watched."""
    cut_off = quiet().rpartition(b'{"t"')[0]
    path = logs.write(tmp_path, cut_off)
    code, out, _ = call(str(path))
    assert code == 1
    assert "NOT MONITORED: this night may not have been safe" in " ".join(out.split())
    assert "the monitor stopped without warning" in " ".join(out.split())
    found = json.loads(call(str(path), "--json")[1])
    assert (found["verdict"], found["well"]) == ("not seen", False)


def test_the_peak_that_rang_is_in_the_account(tmp_path: Path) -> None:
    """R14: 'NOT SAFE: co-level rang', and below it 6 ppm."""
    rows = logs.still_air(0.0, HOUR)
    peak = [
        (at, {**row, "co_ppm": 400.0} if 1800.0 <= at < 1830.0 else row)
        for at, row in rows
    ]
    stop = logs.line("stop", HOUR, reason="SIGTERM")
    path = logs.write(tmp_path, logs.begin() + logs.air(peak) + stop)
    code, out, _ = call(str(path))
    assert code == 1
    assert out.splitlines()[0].startswith("NOT SAFE: carbon monoxide 400 ppm")


def test_a_night_that_goes_on_is_not_cut_off(tmp_path: Path) -> None:
    """Its last line is of a moment ago; and a run after it is the one that counts."""
    path = logs.write(tmp_path, quiet().rpartition(b'{"t"')[0])
    end = logs.START + timedelta(hours=1)
    for later, is_cut_off in ((60.0, False), (3600.0, True), (-600.0, False)):
        found = give_account(files(path), wall=end + timedelta(seconds=later))
        assert found.tape.is_cut_off is is_cut_off


def test_a_good_night_is_told_and_exits_with_0(tmp_path: Path) -> None:
    """A page high: the verdict, what to do, and only then which night it was."""
    code, out, err = call(str(logs.write(tmp_path, quiet())))
    assert (code, err) == (0, "")
    lines = out.splitlines()
    assert lines[0] == "Safe by what was measured: only 60 min were monitored."
    first = " ".join(lines[1 : lines.index("")])
    assert first.startswith("Nothing that was measured asks for a change. Even so, do")
    assert "not sleep with the heater lit" in first
    assert lines[lines.index("") + 1].startswith("lapwing: night of ")


def test_a_rehearsed_night_is_told_in_the_trailers_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever it is read: it is set an hour ahead of UTC, a real night is not."""
    monkeypatch.setenv("TZ", "EST5")
    time.tzset()
    air = logs.air(logs.still_air(0.0, HOUR))
    real = call(str(logs.write(tmp_path, logs.begin() + air)))[1]
    data = logs.begin(emulated=True) + air
    rehearsed = call(str(logs.write(tmp_path, data)))[1]
    monkeypatch.undo()
    time.tzset()
    assert "16:00 to 17:00 EST" in real.partition("\n\n")[2]
    assert "22:00 to 23:00 CET" in rehearsed.partition("\n\n")[2]


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"o2_pct": 19.3}, "NOT SAFE: oxygen 19.3 %."),
        ({"co_ppm": 250.0}, "NOT SAFE: carbon monoxide 250 ppm"),
        ({"co2_ppm": 12000.0}, "NOT SAFE: carbon dioxide 12"),
        ({"o2_pct": 19.7}, "Safe, but close: oxygen 19."),
    ],
)
def test_the_verdict_follows_the_limits_of_the_log(
    tmp_path: Path, values: dict[str, float], words: str
) -> None:
    """The limits that ran that night, by priority."""
    code, out, _ = call(str(logs.write(tmp_path, quiet(**values))))
    assert out.splitlines()[0].startswith(words)
    assert code == (0 if words.startswith("Safe") else 1)


def test_half_an_hour_unwatched_is_not_well(tmp_path: Path) -> None:
    """Nobody can vouch for it, however good the rest was."""
    rows = [*logs.still_air(0.0, HOUR), *logs.still_air(1.5 * HOUR, 2.0 * HOUR)]
    code, out, _ = call(str(logs.write(tmp_path, logs.begin() + logs.air(rows))))
    assert code == 1
    assert "NOT MONITORED" in out
    assert "nothing was recorded for 30 min" in " ".join(out.split())


def test_a_gas_without_a_part_is_said_to_be_unmeasured(tmp_path: Path) -> None:
    """A cabin without a CO part is not called safe of CO."""
    rows = [(at, {"o2_pct": row["o2_pct"]}) for at, row in logs.still_air(0.0, HOUR)]
    _, out, _ = call(str(logs.write(tmp_path, logs.begin() + logs.air(rows))))
    assert "carbon monoxide was never measured" in out


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda folder: "nowhere.jsonl", "not found; give a night's file"),
        (lambda folder: str(folder), "holds no night"),
        (lambda folder: str(logs.write(folder, b"")), "holds no line"),
        (lambda folder: str(logs.write(folder, b"time_s,o2_pct\n")), "holds no line"),
    ],
)
def test_no_night_is_one_sentence_and_exit_code_2(
    tmp_path: Path, make: Any, words: str
) -> None:
    """What, where, and how to mend it."""
    code, out, err = call(make(tmp_path))
    assert (code, out) == (2, "")
    assert words in err
    assert err.count("\n") == 1


def test_nights_are_found_by_folder_and_by_date(tmp_path: Path) -> None:
    """The last of a folder; a date's files in order; else, what there is."""
    for day, part in (("15", ""), ("16", ""), ("16", ".2")):
        head = logs.begin(file_no=int(day) * 10 + len(part))
        logs.write(tmp_path, head, f"night-2026-01-{day}{part}.jsonl")
    last = ["night-2026-01-16.jsonl", "night-2026-01-16.2.jsonl"]
    assert [one.name for one in chosen(str(tmp_path), None).paths] == last
    assert [one.name for one in chosen(None, tmp_path).paths] == last
    first = chosen("2026-01-15", tmp_path)
    assert [one.name for one in first.paths] == ["night-2026-01-15.jsonl"]
    with pytest.raises(NightError, match=r"no night of 2026-01-14.*2026-01-16"):
        chosen("2026-01-14", tmp_path)
    with pytest.raises(NightError, match="--log"):
        chosen(None, None)


class Day:
    """A clock that stands on some day's noon."""

    def __init__(self, day: int) -> None:
        self.day = day

    def monotonic(self) -> float:
        return 0.0

    def wall(self) -> datetime:
        return datetime(2026, 1, self.day, 10, 0, tzinfo=UTC)


@pytest.mark.parametrize(("today", "is_missing"), [(17, False), (18, True)])
def test_a_last_night_that_is_missing_is_told(
    tmp_path: Path, today: int, is_missing: bool
) -> None:
    """An older night is not passed off as the last: in the account and beside it."""
    logs.write(tmp_path, quiet())
    for more in ([], ["--json"]):
        log = ("--log", tmp_path, *more)
        code, out, _ = calling.call(morning, *log, clock=Day(today))
        assert code == int(is_missing)
        words = "the night of 2026-01-17 is missing, and this is that of 2026-01-16"
        assert (words in " ".join(out.split())) is is_missing


def test_the_folder_comes_from_the_config(tmp_path: Path) -> None:
    """Without a folder or a file the config's own is looked into."""
    code, _, err = call("2026-01-16", "--config", str(tmp_path / "none.toml"))
    assert code == 2
    assert "add --log FOLDER" in err


def test_json_has_units_in_its_keys_and_triples_for_estimates(tmp_path: Path) -> None:
    """One object; what nobody tells is null."""
    log = named.night("quiet")[0] + logs.line("stop", 9 * HOUR, reason="SIGTERM")
    code, out, _ = call(str(logs.write(tmp_path, log)), "--json")
    found = json.loads(out)
    assert code == 0
    assert (found["verdict"], found["well"]) == ("safe", True)
    for key in ("air_changes_per_h", "burn_kw", "gas_kg", "water_left_kg"):
        low, middle, high = found[key]
        assert low <= high if middle is None else low <= middle <= high
    assert found["gas_kg"][1] is not None
    nearest = {one["quantity"]: one for one in found["closest"]}
    assert nearest["o2_pct"]["margin"] > 0.5
    assert found["breathed"]["pm2_5_mean_ugm3"] is None
    assert set(summary(give_account(files(tmp_path / "night-2026-01-16.jsonl")))) >= {
        "verdict",
        "well",
        "tonight",
    }


def test_without_volume_the_air_is_not_told(tmp_path: Path) -> None:
    """And nothing is invented in its place."""
    facts = logs.config()
    del facts["cabin"]["volume_m3"]
    data = logs.begin(config=facts) + logs.air(logs.still_air(0.0, HOUR))
    found = give_account(files(logs.write(tmp_path, data)))
    assert as_json(found)["air_changes_per_h"] is None
    assert "needs CO2 and the cabin's volume" in account(found)


def test_a_clock_step_and_a_newer_version_are_told(tmp_path: Path) -> None:
    """Each with what is missing."""
    wrong = logs.START - timedelta(hours=3)
    data = logs.begin(wrong, log_format=7)
    data += logs.air(logs.still_air(0.0, HOUR), wrong)
    data += logs.air(logs.still_air(HOUR, 2 * HOUR))
    text = " ".join(account(give_account(files(logs.write(tmp_path, data)))).split())
    assert "the clock was set by 3.0 h" in text
    assert "newer version" in text


def test_marks_cut_the_night(tmp_path: Path) -> None:
    """What lies between marks is told apart."""
    rows = logs.still_air(0.0, 4 * HOUR)
    marks = logs.line("mark", 2 * HOUR, text="roof vent open 2 cm", by="socket")
    data = logs.begin() + logs.air(rows[:720]) + marks + logs.air(rows[720:])
    found = give_account(files(logs.write(tmp_path, data)))
    assert any(one.begins_with == "roof vent open 2 cm" for one in found.stretches)


def test_the_account_is_a_page_whatever_the_night(tmp_path: Path) -> None:
    """At most 40 lines of 80 columns, alarms and gaps and starts and all."""
    rows: list[bytes] = []
    for part in range(12):
        start = logs.START + timedelta(hours=part)
        rows += [logs.begin(start), logs.air(logs.still_air(0.0, 1500.0, 60.0), start)]
        rows += [
            logs.line(
                "alarm",
                900.0 + n,
                start,
                alarm=f"sensor-fault/part-with-a-long-name-{n}",
                state="unacknowledged",
                was="normal",
                priority="high",
                text="x" * 140,
            )
            for n in range(9)
        ]
    text = account(give_account(files(logs.write(tmp_path, b"".join(rows)))))
    lines = text.splitlines()
    assert len(lines) <= LINES
    assert max(len(line) for line in lines) <= COLUMNS


def test_damaged_logs_give_an_account_or_one_sentence(tmp_path: Path) -> None:
    """120 here; `python -m tests.bench.morning --mutants 10000` for more."""
    whole, _ = named.night("leak")
    log = b"".join(whole.splitlines(keepends=True)[:150])
    log += logs.line("estimate", 10.0, o2_minutes_to_19_5=[1.0, 2.0, None])
    for seed in range(120):
        path = logs.write(tmp_path, logs.mutated(log, Random(seed)))
        try:
            found = give_account(files(path))
        except NightError:
            continue
        json.dumps(as_json(found), allow_nan=False)
        assert len(account(found).splitlines()) <= LINES


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("night-2026-01-17.jsonl.gz", b""),
        ("night-2026-01-17.jsonl.gz", b"no gzip at all" * 40),
        ("night-2026-01-17.jsonl", b"\0" * 4_000),
    ],
    ids=["empty", "no gzip", "zeros"],
)
def test_a_newest_night_that_cannot_be_read_is_said_and_passed_over(
    tmp_path: Path, name: str, data: bytes
) -> None:
    """R17: the folder's morning was the night before's, 'Safe.' and without a word."""
    logs.write(tmp_path, quiet())
    (tmp_path / name).write_bytes(data)
    code, out, _ = call(str(tmp_path))
    assert code == 1
    assert f"{name} cannot be read: kept, and skipped" in " ".join(out.split())
    assert (tmp_path / name).read_bytes() == data
    (tmp_path / "night-2026-01-16.jsonl").unlink()
    code, _, err = call(str(tmp_path))
    assert code == 2
    assert "holds no line of a night" in err


def test_marks_beside_each_other_make_no_stretch(tmp_path: Path) -> None:
    """R8: five hundred of them, and the page had 11 MB."""
    marks = b"".join(
        logs.line("mark", 1800.0 + n, text=f"mark {n}", by="phone") for n in range(500)
    )
    data = logs.begin() + logs.air(logs.still_air(0.0, 1800.0)) + marks
    data += logs.air(logs.still_air(2400.0, 2 * HOUR))
    path = logs.write(tmp_path, data + logs.line("stop", 2 * HOUR, reason="SIGTERM"))
    _, out, _ = call(str(path), "--json")
    found = json.loads(out)["stretches"]
    assert 8 <= len(found) <= 12


def test_nights_that_were_deleted_for_size_are_told(tmp_path: Path) -> None:
    gone = {"why": "size", "nights": ["2026-01-01", "2026-01-02"]}
    begin, _, rest = quiet().partition(b"\n")
    line = logs.line("deleted", 30.0, **gone)
    path = logs.write(tmp_path, begin + b"\n" + line + rest)
    _, out, _ = call(str(path))
    told = "2 nights, of 2026-01-01 to 2026-01-02, were deleted for size"
    assert told in " ".join(out.split())
    assert any(
        told in one for one in json.loads(call(str(path), "--json")[1])["log"]["notes"]
    )


@pytest.mark.parametrize("tick_s", [1.0, 30.0, 45.0, 60.0])
def test_durations_are_the_same_at_every_tick(tmp_path: Path, tick_s: float) -> None:
    """R19: at a minute they were halved, and 'not watched for 4.0 h'."""
    config = logs.config()
    config["watch"]["tick_s"] = tick_s
    rows = []
    for n in range(round(4 * HOUR / tick_s)):
        at_s = n * tick_s + 0.3 * (n % 3)
        o2_pct = 19.0 if HOUR <= at_s < 2 * HOUR else 20.5
        co_ppm = 1.0 + 0.1 * (n % 2)
        rows.append((at_s, {"o2_pct": o2_pct + 0.01 * (n % 3), "co_ppm": co_ppm}))
    rows = [row for row in rows if not 3 * HOUR <= row[0] < 3.5 * HOUR]
    stop = logs.line("stop", 4 * HOUR, reason="SIGTERM")
    path = logs.write(tmp_path, logs.begin(config=config) + logs.air(rows) + stop)
    found = json.loads(call(str(path), "--json")[1])
    low = next(one for one in found["closest"] if one["alarm"] == "o2-low")
    assert low["beyond_min"] == pytest.approx(60.0, abs=1.1)
    seen = {one["quantity"]: one["unseen_min"] for one in found["watched"]}
    assert seen["o2_pct"] == pytest.approx(30.0, abs=1.6)
    assert found["log"]["silent_h"] == pytest.approx(0.5, abs=0.03)


@pytest.mark.parametrize(("name", "cut_h"), [("quiet", 2.0), ("flat", 4.0)])
def test_a_log_that_begins_in_settled_air_is_told_right_or_as_not_known(
    tmp_path: Path, name: str, cut_h: float
) -> None:
    """R20: 'Gas none burnt', 0.83 air changes an hour for 3.7; warmth knows better."""
    log, truths = named.night(name)
    head, *lines = log.splitlines(keepends=True)
    kept = [one for one in lines if json.loads(one)["up_s"] >= cut_h * HOUR]
    path = logs.write(tmp_path, head + b"".join(kept))
    _, out, _ = call(str(path))
    text = " ".join(out.split())
    assert "none burnt" not in text
    is_unsure = "it may have been lit: the log begins in air that had settled" in text
    total = json.loads(call(str(path), "--json")[1])
    rest = truths[round(cut_h * 120) :]
    burnt_kwh = math.fsum(one.burn_kw for one in rest) / 120.0
    changes = math.fsum(one.air_changes_per_h for one in rest) / len(rest)
    assert is_unsure is (total["unsure_h"] > 0.0)
    least_kwh, _, most_kwh = total["gas_kwh"]
    assert least_kwh <= burnt_kwh <= most_kwh
    # at the most what a burner of twice its label would have burnt all the time
    assert most_kwh <= 2.0 * 1.6 * len(truths) / 120.0
    low, _, high = total["air_changes_per_h"]
    assert low <= changes <= high
    hours = total["lit_h"] + total["unsure_h"]
    assert hours == pytest.approx(len(rest) / 120.0, abs=0.1)


def test_a_night_that_begins_in_fresh_air_is_told_as_before(tmp_path: Path) -> None:
    log, _ = named.night("quiet")
    found = json.loads(call(str(logs.write(tmp_path, log)), "--json")[1])
    assert found["unsure_h"] == 0.0
    assert found["lit_h"] > 8.0
