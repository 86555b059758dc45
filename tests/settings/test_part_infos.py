"""The registry's entry of each part, with the config's own figures."""

from typing import Any

import pytest

from cabinvigil.daemon.settings.part_infos import part_infos
from cabinvigil.daemon.settings.series import part_series
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.drivers import part as find_part


def test_the_configs_own_times_go_before_the_registrys() -> None:
    parts = {
        "usual": PartSettings(kind="bme280"),
        "slow": PartSettings(kind="bme280", interval_s=30.0, max_age_s=90.0),
    }
    infos = part_infos(parts)
    assert infos["usual"] == find_part("bme280")
    assert (infos["slow"].interval_s, infos["slow"].max_age_s) == (30.0, 90.0)
    assert infos["slow"].gives == find_part("bme280").gives


@pytest.mark.parametrize(
    ("kind", "options", "step"),
    [
        ("frame9_co", {}, 0.1),
        ("frame9_co", {"answer_ppm": 1.0}, 1.0),
        ("frame9_co", {"mode": "question", "answer_ppm": 0.1}, 0.1),
        # One count is 62.5 uV: over 100 Ohm and 525 nA/ppm 1.190 ppm, by hand.
        ("co_cell_ads1115", {}, 0.0119),
        ("co_cell_ads1115", {"gain_ohm": 100.0}, 1.1905),
        ("co_cell_ads1115", {"sensitivity_na_per_ppm": 50.0}, 0.125),
        ("co_cell_ads1115", {"zero_na": -40.0}, 0.0119),
    ],
)
def test_steps_follow_the_options(
    kind: str, options: dict[str, Any], step: float
) -> None:
    """What a count stands for is the step that a value is judged by."""
    parts = {"bunk-co": PartSettings(kind=kind, options=options)}
    infos = part_infos(parts)
    found = infos["bunk-co"].gives["co_ppm"]
    assert found.resolution == pytest.approx(step, abs=1e-4)
    judged = part_series(parts, infos)["co_ppm"].resolution
    assert judged == pytest.approx(max(step, 0.1), abs=1e-4)  # as it is logged


def test_a_wrong_option_is_for_its_driver_to_tell() -> None:
    """Here the registry's own figure stands."""
    bad = {"bunk-co": PartSettings(kind="frame9_co", options={"answer_ppm": "much"})}
    gives = part_infos(bad)["bunk-co"].gives
    assert gives == find_part("frame9_co").gives
