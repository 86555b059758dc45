"""What a watch, its machine and its parts say of themselves, in both systems."""

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.commands import show
from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.precheck.findings import computer
from cabinvigil.daemon.report.compare_text import picture_rows
from cabinvigil.daemon.report.live_view import COLUMNS, PastLooks, frame
from cabinvigil.daemon.review.compare import Sheet
from cabinvigil.daemon.service.host import HostLook, HostWatch
from cabinvigil.daemon.span.doubts import doubts
from cabinvigil.daemon.span.found import Found
from cabinvigil.daemon.span.fresh_air import AirFound, look_at
from cabinvigil.daemon.text.units_said import SI, US, Units
from tests.commands.calling import call
from tests.report.test_live_view import STATUS, watch
from tests.span.test_doubts import CELL_C, NOW, span
from tests.span.test_fresh_air import AIR, CELL, gave
from tests.two_systems import differences


def test_the_live_view_and_its_option(tmp_path: Path) -> None:
    quiet = STATUS | {"alarms": []}
    si, us = (frame(quiet, PastLooks(), 0.0, units) for units in (SI, US))
    assert list(differences(si, us)) == []
    assert "temperature     54 °F" in us
    assert "wet below       40 °F, window 40 °F" in us
    assert max(map(len, us.splitlines())) <= COLUMNS
    with watch(tmp_path, quiet) as (path, _):
        words = ("--once", "--socket", path, "--units", "us")
        code, out, _ = call(show, *words)
    assert (code, "54 °F" in out) == (0, True)


def _heat(units: Units) -> str:
    told: list[Any] = []
    host = HostWatch(told.append, units)
    host.look(HostLook(0.0, datetime(2026, 1, 16, tzinfo=UTC), 84.6, False))
    (fault,) = told
    assert isinstance(fault, SourceFault)
    return fault.text


def test_the_machines_heat() -> None:
    assert _heat(SI) == "the Pi is at 85 °C and slows itself down; cool it"
    assert _heat(US) == "the Pi is at 184 °F and slows itself down; cool it"
    for cpu_c in (40.0, 78.0, 90.0):
        si, us = (
            computer(cpu_c, is_under_volted=False, units=units).text
            for units in (SI, US)
        )
        assert list(differences(si, us)) == []
        assert si != us


@pytest.mark.parametrize(
    ("air", "before"),
    [
        (AirFound(-30.0, 60.0, 950.0), 20.6),
        (AirFound(-8.0, 60.0, 950.0), 20.6),
        (AirFound(56.0, 60.0, 950.0), None),
    ],
)
def test_what_speaks_against_a_span(air: AirFound, before: float | None) -> None:
    found = Found(10.9, "mV", before, air.o2_pct)
    si, us = (
        "\n".join(
            one.text
            for one in doubts(
                "stern", "mv", found, air, [span(20.0)], NOW, CELL_C, units
            )
        )
        for units in (SI, US)
    )
    assert "°C" in si
    assert list(differences(si, us)) == []


def test_what_is_seen_before_a_span() -> None:
    """How far it moved is a difference: 2 K are 3.7 °F, not 35.7."""
    seen = gave(temp_c=(10.0, 13.0), pressure_hpa=(939.0, 941.0), co2_ppm=430.0)
    told = [one.text for one in look_at(seen, CELL, AIR, None, US)]
    (warm,) = [text for text in told if "temperature" in text]
    assert "temperature 52.7 °F, moved 3.7 (steady: at most 2.7)" in warm
    (pressure,) = [text for text in told if "air pressure" in text]
    assert "27.758 inHg" in pressure


def test_the_pictures_rows_of_a_comparison() -> None:
    one = Sheet(
        *("a", 8.0, 0.5, 0.1, "o2_pct", 0.0, 1.0, (0.15, 0.2, 0.3), None, None),
        *(20.0, (15.0, 20.0, 30.0), None, 0.0, ""),
    )
    si, us = (picture_rows([one, one], units) for units in (SI, US))
    assert [rows.unit for rows in si] == ["% of the way", "kg", "W/K"]
    assert [rows.unit for rows in us] == ["% of the way", "lb", "BTU/h/°F"]
    assert us[1].rows[0].middle == pytest.approx(0.2 / 0.45359237)
    assert us[2].rows[0].middle == pytest.approx(20.0 * 1.895634, rel=1e-6)
    assert us[0].rows == si[0].rows
