"""The morning is no more comforting than what was monitored of the night.

Each was found by somebody who made nights of his own and had read the README alone.
"""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.commands import log, morning
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.log.survey import look_at
from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.morning import morning as account
from cabinvigil.daemon.text.durations import minutes
from tests.commands import calling
from tests.review import logs

HOUR = 3600.0
CALM = {"o2_pct": 20.6, "co_ppm": 0.5, "co2_ppm": 900.0}
Air = dict[str, float]


def told(folder: Path, hours: float, *parts: tuple[float, Air]) -> Path:
    """Write a night; each part of it begins at an hour, with this air."""
    rows = []
    for n in range(round(hours * 120.0)):
        at_s = 30.0 * n
        _, air = [one for one in parts if one[0] * HOUR <= at_s][-1]
        flicker = 1.0 + 0.001 * (n % 3)
        rows.append((at_s, {key: one * flicker for key, one in air.items()}))
    stop = logs.line("stop", hours * HOUR, reason="stopped on request")
    return logs.write(folder, logs.begin() + logs.air(rows) + stop)


def of(path: Path) -> Morning:
    return account(read_tape([path]))


def without(*names: str) -> Air:
    return {key: one for key, one in CALM.items() if key not in names}


def said(path: Path) -> str:
    return " ".join(calling.call(morning, path)[1].split())


def known(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(calling.call(morning, path, "--json")[1])
    return found["breathed"]


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("name", ["o2_pct", "co_ppm", "co2_ppm"])
def test_a_sensor_elsewhere_does_not_stand_in_for_the_bunks(
    tmp_path: Path, name: str
) -> None:
    """The bunk's part dies at midnight; another one at the wheel lives on."""
    both = {**CALM, f"{name}_cab": CALM[name]}
    gone = {key: one for key, one in both.items() if key != name}
    found = of(told(tmp_path, 9.0, (0.0, both), (3.0, gone)))
    assert found.verdict.word == "not seen"
    seen = {one.quantity: one for one in found.seen}
    assert seen[name].unseen_min == pytest.approx(360.0, abs=1.0)


@pytest.mark.hazard("record-comforts")
@given(
    name=st.sampled_from(["o2_pct", "co_ppm", "co2_ppm"]),
    begin_h=st.floats(0.5, 8.0),
    lasts_h=st.floats(0.0, 6.0),
)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_hole_of_half_an_hour_is_called_safe(
    tmp_path: Path, name: str, begin_h: float, lasts_h: float
) -> None:
    """Wherever it lies, and whichever of the three gases it is of."""
    end_h = begin_h + lasts_h
    night = (0.0, CALM), (begin_h, without(name)), (end_h, CALM)
    found = of(told(tmp_path, 9.0, *night))
    if min(end_h, 9.0) - begin_h > 0.52:
        assert found.verdict.word == "not seen"
    if lasts_h == 0.0:
        assert found.verdict.word == "safe"


@pytest.mark.hazard("record-comforts")
def test_blood_of_hours_that_nobody_measured_has_no_upper_bound(
    tmp_path: Path,
) -> None:
    whole = told(tmp_path, 8.0, (0.0, CALM))
    assert "CO in the blood at most" in said(whole)
    assert known(whole)["co_known_pct"] == 100.0
    part = told(tmp_path, 8.0, (0.0, CALM), (2.0, without("co_ppm")))
    assert "CO in the blood at most" not in said(part)
    assert "CO in the blood at least" in said(part)
    assert "CO was measured for 25 % of the night" in said(part)
    assert known(part)["co_known_pct"] == 25.0


@pytest.mark.hazard("record-comforts")
def test_a_mean_of_carbon_dioxide_says_of_which_share_it_is(tmp_path: Path) -> None:
    part = told(tmp_path, 8.0, (0.0, CALM), (2.0, without("co2_ppm")))
    assert "on average; it was measured for 25 % of the night" in said(part)
    assert known(part)["co2_known_pct"] == 25.0
    assert "it was measured" not in said(told(tmp_path, 8.0, (0.0, CALM)))


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("alarm", ["co-level", "co-dose"])
def test_carbon_monoxide_that_woke_nobody_is_close(tmp_path: Path, alarm: str) -> None:
    """28 ppm for seven hours: a note, 3.5 % in the blood, and "nothing to change"."""
    low = {"co_ppm": 24.0}
    note = logs.line(
        *("alarm", HOUR), alarm=alarm, state="unacknowledged", was="normal",
        priority="low", text="as it was said",
    )  # fmt: skip
    data = logs.begin() + logs.air(logs.still_air(0.0, HOUR, 30.0, **low)) + note
    data += logs.air(logs.still_air(HOUR, 8.0 * HOUR, 30.0, **low))
    data += logs.line("stop", 8.0 * HOUR, reason="stopped on request")
    found = of(logs.write(tmp_path, data))
    assert found.verdict.word == "close"
    assert any("carbon monoxide" in one for one in found.verdict.reasons)


@pytest.mark.hazard("record-comforts")
@given(hours=st.floats(0.6, 9.0))
@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_short_log_says_how_short_it_is(tmp_path: Path, hours: float) -> None:
    """Whoever stops the monitor at two reads nothing of a safe night until seven."""
    found = of(told(tmp_path, hours, (0.0, CALM)))
    assert found.verdict.word == "safe"
    length = minutes(found.tape.slept_s / 60.0)
    words = (f"only {length} were monitored",) if hours < 5.4 else ()
    if not 5.4 <= hours <= 5.6:
        assert found.verdict.reasons == words


@pytest.mark.hazard("record-comforts")
@pytest.mark.parametrize("name", ["o2_pct", "co_ppm", "co2_ppm"])
def test_a_closest_approach_says_of_which_share_of_the_night_it_is(
    tmp_path: Path, name: str
) -> None:
    """Silent for two of nine hours: what it came closest to then, nobody knows."""
    share = "measured for 78 % of the night"
    rows = said(told(tmp_path, 9.0, (0.0, CALM), (3.0, without(name)), (5.0, CALM)))
    # the blood is worked out from carbon monoxide
    assert rows.split("Alarms")[0].count(share) == 1 + (name == "co_ppm")
    assert share not in said(told(tmp_path, 9.0, (0.0, CALM)))


@pytest.mark.parametrize("low_pct", [18.9, 16.0])
def test_nobody_is_said_to_have_been_woken_where_nothing_sounded(
    tmp_path: Path, low_pct: float
) -> None:
    """Oxygen past its limit, and no alarm in the log: "0 min before" told of one."""
    text = said(told(tmp_path, 6.0, (0.0, CALM), (3.0, CALM | {"o2_pct": low_pct})))
    assert "nobody was woken before oxygen was at its limit" in text
    assert "first woken 0 min" not in text


@pytest.mark.hazard("record-comforts")
@given(
    st.lists(st.integers(40, 900), min_size=1, max_size=4, unique=True),
    st.integers(1, 40),
)
@settings(
    max_examples=15,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_a_mended_night_is_as_little_proved_as_it_was(
    tmp_path: Path, cuts: list[int], wide: int
) -> None:
    """Lines that cannot be read are left out by `log mend`, which says so in the file.

    Mended again, it still does.
    """
    folder = tmp_path / "nights"
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    path = told(folder, 8.0, (0.0, CALM))
    lines = path.read_bytes().splitlines(keepends=True)
    for cut in cuts:
        lines[cut : cut + wide] = [b"\x00torn\n"] * len(lines[cut : cut + wide])
    path.write_bytes(b"".join(lines))
    assert not of(path).verdict.is_well
    for into in ("once", "twice"):
        code, _, _ = calling.call(log, "mend", path, "-o", folder / into)
        assert code == 0
        path = folder / into / path.name
        found = of(path)
        assert not found.verdict.is_well
        assert "had been lost before `log mend`" in said(path)
        assert not look_at(path).is_damaged


@pytest.mark.hazard("record-comforts")
def test_of_a_night_without_carbon_monoxide_nothing_is_said_of_the_blood(
    tmp_path: Path,
) -> None:
    """ "0.7 %, 1.8 % from 2.5 %" was what blood is without any, measured by nobody."""
    text = said(told(tmp_path, 9.0, (0.0, without("co_ppm"))))
    assert "in the blood" not in text.split("Alarms")[0]
