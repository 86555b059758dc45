"""Fresh air, a breath, test gas: what the parts must show, and what is said of it."""

from datetime import UTC, datetime, timedelta

import pytest

from cabinvigil.daemon.precheck.truth import (
    BumpTrial,
    Subject,
    fresh_air,
    is_due,
    of_smoke,
    proof_age,
    subjects,
    told,
)
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.series import series_keys
from cabinvigil.daemon.span.proofs import CanOfGas, Proof

NOW = datetime(2026, 1, 16, 20, 0, tzinfo=UTC)
O2 = Subject("cell", "o2_optical_line", "o2_pct", "o2_pct", 12.0)
CO2 = Subject("wall", "scd4x", "co2_ppm", "co2_ppm", 60.0)
CO = Subject("bunk-co", "frame9_co", "co_ppm", "co_ppm", 20.0)
FRESH = {"o2_pct": 20.7, "co2_ppm": 420.0, "co_ppm": 0.0}
"""20.95 % of dry air (ISO 2533), at 15 °C and 75 % humidity: 20.7 (check values)."""
AIR = {"temp_c": 15.0, "rh_pct": 75.0, "pressure_hpa": 939.0}
PARTS = example().parts
SERIES = series_keys(PARTS, part_infos(PARTS))


def judged(**shown: float) -> str:
    all_of_it = {**AIR, **FRESH, **shown}
    look = {
        series: all_of_it[quantity]
        for (_, quantity), series in SERIES.items()
        if quantity in all_of_it
    }
    looks = [look] * 3
    (first, *_) = fresh_air(looks, PARTS, None, None)
    return f"{first.word}: {first.text}"


def test_fresh_air_is_seen_as_that() -> None:
    assert judged().startswith("good: confirmed: 20.7 % by bunk-o2")


@pytest.mark.parametrize(
    ("shown", "says"),
    [
        ({"o2_pct": 20.3}, "bunk-o2: oxygen 20.3 %, fresh air has 20.7"),
        ({"o2_pct": 21.1}, "bunk-o2: oxygen 21.1 %, fresh air has 20.7"),
        ({"co_ppm": 4.0}, "bunk-co: carbon monoxide 4 ppm, fresh air has none"),
        ({"co_ppm": -4.0}, "bunk-co: carbon monoxide -4 ppm"),
        ({"co2_ppm": 900.0}, "bunk-co2: carbon dioxide 900 ppm"),
    ],
)
def test_what_is_no_fresh_air_is_said_by_part(
    shown: dict[str, float], says: str
) -> None:
    """L9: it was ready with 19.8 % oxygen, 25 ppm and a burner lit."""
    assert judged(**shown).startswith("bad: ")
    assert says in judged(**shown)


def test_where_nobody_tells_the_humidity_damp_air_is_allowed_for() -> None:
    """L10: at 25 °C and 95 % fresh air holds 20.3 %; the upper side stays as it is."""
    for o2_pct, word in ((20.3, "good"), (19.9, "bad"), (21.3, "bad")):
        (first, *_) = fresh_air([{"o2_pct": o2_pct}], PARTS, None, None)
        assert first.word == word
    assert "slightly less in damp air" in first.text


def test_nothing_measured_is_not_good() -> None:
    (only,) = fresh_air([{}, {}], PARTS, None, None)
    assert only.word == "bad"


def breathed(
    *steps: tuple[float, dict[str, float]], ppm: float | None = None
) -> BumpTrial:
    subject = [O2, CO2] if ppm is None else [CO]
    trial = BumpTrial(subject, FRESH, None if ppm is None else CanOfGas("co_ppm", ppm))
    for since_s, readings in steps:
        trial.see(since_s, readings)
    return trial


def test_a_breath_is_seen_with_its_seconds() -> None:
    trial = breathed(
        (4.0, {"o2_pct": 19.9, "co2_ppm": 1800.0}),
        (8.0, {"o2_pct": 18.6, "co2_ppm": 4000.0}),
        (30.0, {"o2_pct": 17.0, "co2_ppm": 20_000.0}),
    )
    assert trial.is_over
    proofs = trial.proofs(NOW)
    assert [(one.part, one.seconds, one.failed) for one in proofs] == [
        ("cell", 8.0, ""),
        ("wall", 8.0, ""),
    ]
    assert told(proofs).word == "good"
    assert "cell oxygen in 8 s" in told(proofs).text


@pytest.mark.parametrize(
    ("readings", "why"),
    [
        ({"o2_pct": 19.6, "co2_ppm": 9000.0}, "oxygen moved by 1.1 % in 150 s, less"),
        ({"o2_pct": 21.5, "co2_ppm": 9000.0}, "oxygen moved by 0.0 % in 150 s"),
        ({"co2_ppm": 9000.0}, "no reading of oxygen"),
    ],
)
def test_a_part_that_does_not_follow_fails(
    readings: dict[str, float], why: str
) -> None:
    """Capped, blind, or unplugged in the middle; and a bag that leaks."""
    proofs = breathed((150.0, readings)).proofs(NOW)
    assert why in proofs[0].failed
    assert proofs[1].failed == ""
    assert told(proofs).word == "bad"


def test_a_part_that_has_slowed_fails() -> None:
    """Past three times its lag, and the hands' five seconds."""
    trial = breathed(
        (30.0, {"o2_pct": 19.5, "co2_ppm": 9000.0}),
        (60.0, {"o2_pct": 18.0, "co2_ppm": 9000.0}),
    )
    assert "it took 60 s, more than 41" in trial.proofs(NOW)[0].failed


def test_test_gas_is_seen_in_three_lags_and_not_tenfold() -> None:
    good = breathed((20.0, {"co_ppm": 81.0}), ppm=100.0).proofs(NOW)
    assert [(one.quantity, one.by, one.failed) for one in good] == [
        ("co_ppm", "gas", "")
    ]
    (blind,) = breathed((90.0, {"co_ppm": 12.0}), ppm=100.0).proofs(NOW)
    assert "moved by 12 ppm in 90 s, less than 80" in blind.failed
    (tenfold,) = breathed((90.0, {"co_ppm": 500.0}), ppm=50.0).proofs(NOW)
    assert "it showed 500 ppm of 50: check its scale" in tenfold.failed


def test_a_part_at_the_end_of_its_range_in_weak_gas_is_none_the_better() -> None:
    trial = BumpTrial([CO], FRESH, CanOfGas("co_ppm", 100.0))
    trial.see(10.0, {**FRESH, "co_ppm": 500.0}, {"co_ppm"})
    (proof,) = trial.proofs(NOW)
    assert "it showed 500 ppm of 100" in proof.failed
    assert trial.at_top() == []


def not_back(trial: BumpTrial) -> list[str]:
    return list(trial.not_back().values())


def test_it_has_come_back_when_all_have() -> None:
    trial = breathed((10.0, {"o2_pct": 17.0, "co2_ppm": 9000.0, "co_ppm": 0.0}))
    assert not_back(trial) == [
        "carbon dioxide 9000 ppm",
        "oxygen 17.0 %",
    ]
    trial.last = {"o2_pct": 20.5, "co2_ppm": 3000.0, "co_ppm": 0.0}
    assert not_back(trial) == ["carbon dioxide 3000 ppm"]
    trial.last = {"o2_pct": 20.5, "co2_ppm": 1400.0, "co_ppm": 0.0}
    assert not_back(trial) == []
    trial.last = {"co2_ppm": 1400.0, "co_ppm": 0.0}
    assert not_back(trial) == ["oxygen not known"], "that has not come back"


def test_gas_that_came_meanwhile_has_not_come_back() -> None:
    """A burner beside the bag, and a part that speaks only since then."""
    trial = breathed((10.0, {"o2_pct": 17.0, "co2_ppm": 9000.0, "co_ppm": 0.0}))
    trial.last = {**FRESH, "co_ppm": 60.0}
    assert not_back(trial) == ["carbon monoxide 60.0 ppm"]
    trial.last = {**FRESH, "co_ppm__door": 0.0}
    assert not_back(trial) == ["carbon monoxide not known"]


def test_smoke_in_a_breath_is_told_and_fails_nothing() -> None:
    assert of_smoke({"co_ppm": 0.0}, {"co_ppm": 3.0}) is None
    found = of_smoke({"co_ppm": 0.0}, {"co_ppm": 14.0})
    assert found is not None
    assert found.word == "mind"
    assert "14 ppm of carbon monoxide came with it" in found.text


def aged(days: float, quantity: str = "o2_pct", failed: str = "") -> tuple[str, str]:
    by = "gas" if quantity == "co_ppm" else "breath"
    at = NOW - timedelta(days=days)
    proof = Proof("cell", "o2_optical_line", quantity, by, at, 11.0, failed)
    ((word, text),) = proof_age([proof], {quantity: quantity}, NOW)
    return word, text


def test_its_age_is_weighed() -> None:
    """Minded after a week, bad after a month; gas after half a year, and never bad."""
    assert aged(2.0) == ("good", "breathed on 2 days ago, 11 s")
    assert aged(8.0)[0] == "mind"
    assert aged(32.0)[0] == "bad"
    assert aged(0.1, failed="it took 60 s, more than 41")[0] == "bad"
    assert aged(100.0, "co_ppm")[0] == "good"
    assert aged(200.0, "co_ppm")[0] == "mind"
    assert aged(-400.0)[0] == "mind", "a clock that was ahead proves nothing for ever"
    assert [word for word, _ in proof_age([], {"o2_pct": "", "co_ppm": ""}, NOW)] == [
        "bad",
        "mind",
    ]


def test_it_is_due_where_something_has_not_passed_in_a_week() -> None:
    wanted = [O2, CO2]
    both = [
        Proof(one.part, one.kind, one.quantity, "breath", NOW - timedelta(days=2), 9.0)
        for one in wanted
    ]
    assert not is_due(both, wanted, NOW)
    assert is_due(both, wanted, NOW + timedelta(days=6))
    assert is_due(both, wanted, NOW - timedelta(days=400))
    assert is_due(both[:1], wanted, NOW)
    assert is_due([Proof(**{**_fields(both[0]), "failed": "x"}), both[1]], wanted, NOW)
    failed = [*both, Proof(**{**_fields(both[0]), "failed": "x"})]
    assert is_due(failed, wanted, NOW), "it failed since, and is BAD for that"
    other = [Proof(**{**_fields(both[0]), "kind": "o2_cell_ads1115"}), both[1]]
    assert is_due(other, wanted, NOW), "another part hangs there now"


def _fields(proof: Proof) -> dict[str, object]:
    return {name: getattr(proof, name) for name in Proof.__dataclass_fields__}


def test_a_breath_proves_what_hangs_where_people_breathe() -> None:
    found = {(one.part, one.quantity) for one in subjects(PARTS)}
    assert found == {("bunk-o2", "o2_pct"), ("bunk-co2", "co2_ppm")}
    assert {one.part for one in subjects(PARTS, CanOfGas("co_ppm", 100.0))} == {
        "bunk-co"
    }
