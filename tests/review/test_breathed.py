"""What was breathed over a night, as the morning tells it."""

import json
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.air.blood import CHILD, REST, at_air, breathe
from cabinvigil.daemon.commands import morning
from cabinvigil.daemon.log.runs import read_tape
from cabinvigil.daemon.review.blood import dose
from cabinvigil.daemon.review.cabin_facts import CabinFacts, cabin_facts, limits_of
from tests.commands import calling
from tests.review import logs

HOUR = 3600.0


def call(*words: object) -> tuple[int, str, str]:
    return calling.call(morning, *words)


def breathed(path: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(call(str(path), "--json")[1])["breathed"]
    return found


def night(folder: Path, hours: float = 1.0, **values: Any) -> Path:
    cabin = values.pop("cabin", {})
    rows = logs.still_air(0.0, hours * HOUR, 30.0, **values)
    return logs.write(folder, logs.begin(config=logs.config(**cabin)) + logs.air(rows))


def test_the_least_oxygen_is_told_as_a_height(tmp_path: Path) -> None:
    """As a part gives it, else of the percent and of the height's pressure."""
    measured = breathed(night(tmp_path, o2_hpa=145.6, o2_pct=19.5))
    assert measured["like_sleeping_at_m"] == pytest.approx(3070, abs=80)
    high = night(tmp_path, o2_pct=19.5, cabin={"altitude_m": 2500.0})
    assert breathed(high)["like_sleeping_at_m"] == pytest.approx(3070, abs=80)
    text = " ".join(call(str(high))[1].split())
    assert "the least oxygen was like sleeping at 31" in text
    low = night(tmp_path, o2_pct=20.5)
    assert breathed(low)["like_sleeping_at_m"] < 1000
    assert "sleeping at" not in call(str(low))[1]


def test_eight_hours_of_little_carbon_monoxide_are_told_beside_their_limits(
    tmp_path: Path,
) -> None:
    """8.7 ppm is the WHO's value, from 27 the ill take harm; less is no news."""
    tired = night(tmp_path, 8.5, co_ppm=9.4)
    assert breathed(tired)["co_most_mean_8h_ppm"] == pytest.approx(9.4, abs=0.1)
    text = " ".join(call(str(tired))[1].split())
    assert "CO 9.4 ppm over 8 h, where the WHO's value is 8.7 and from 27 the" in text
    quiet = night(tmp_path, 8.5, co_ppm=2.0)
    assert "over 8 h" not in call(str(quiet))[1]


def test_two_hours_are_not_told_as_eight(tmp_path: Path) -> None:
    """A short night's mean is over the hours that there were."""
    short = night(tmp_path, 2.0, co_ppm=24.0)
    text = " ".join(call(str(short))[1].split())
    assert "CO 24.0 ppm over 2.0 h; over 8 h the WHO's value is 8.7 and from" in text


def test_the_blood_is_that_of_whoever_has_most(tmp_path: Path) -> None:
    """A child in thin air; a smoker's own tells nothing of the cabin."""
    rows = [(30.0 * n, {"co_ppm": 100.0, "o2_pct": 20.0}) for n in range(120)]
    tape = read_tape([logs.write(tmp_path, logs.begin() + logs.air(rows))])
    facts = cabin_facts(logs.config(children=1, smokers=1, altitude_m=2500.0))
    air = facts.pressure_hpa, 20.0
    child = breathe(0.75, 100.0, HOUR, at_air(CHILD, *air))
    assert dose(tape, facts)[-1] == pytest.approx(child, rel=1e-6)
    adult = breathe(0.75, 100.0, HOUR, at_air(REST, *air))
    alone = CabinFacts(altitude_m=2500.0)
    assert dose(tape, alone)[-1] == pytest.approx(adult, rel=1e-6)


def test_a_limit_that_asks_for_more_than_the_value_is_no_margin() -> None:
    """Thin air that is otherwise good is no approach to `o2-pressure`."""
    assert "o2_hpa" not in {one.quantity for one in limits_of(logs.config())}
