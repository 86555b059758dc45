"""Which picture of the morning shows an alarm."""

import pytest

from cabinvigil.daemon.report.own_alarms import quantity_of


@pytest.mark.parametrize(
    ("alarm", "shown_with"),
    [
        ("o2-low", "o2_pct"),
        ("o2-pressure", "o2_pct"),
        ("displaced-air", "o2_pct"),
        ("co-dose", "co_ppm"),
        ("co2-projected", "co2_ppm"),
        ("condensing", "dew"),
        ("fine-dust", "pm2_5_ugm3"),
        ("supply-low", "supply_v"),
        ("contact-smoke", ""),
        ("sensor-stuck", ""),
        ("my-own", ""),
    ],
)
def test_a_log_without_its_config_has_the_packaged_alarms(
    alarm: str, shown_with: str
) -> None:
    assert quantity_of(alarm, {}) == shown_with


@pytest.mark.parametrize(
    ("table", "shown_with"),
    [
        ({"kind": "level", "quantity": "co_ppm"}, "co_ppm"),
        ({"kind": "level", "quantity": "o2_hpa"}, "o2_pct"),
        ({"kind": "dose"}, "co_ppm"),
        ({"kind": "level"}, ""),
        ({"kind": "of another version"}, ""),
        ({}, ""),
    ],
)
def test_an_alarm_of_ones_own_is_shown_by_its_quantity_or_its_rule(
    table: dict[str, str], shown_with: str
) -> None:
    """Whatever it is called: `co2-mine` may judge carbon monoxide."""
    assert quantity_of("co2-mine", {"alarm": {"co2-mine": table}}) == shown_with
