"""A night in another cabin than the *Lapwing*: its figures, parts and gaps."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.rehearsal.cabin import fresh_air
from cabinvigil.daemon.rehearsal.fitted import ADDED, PLAYED_BY, SHOWN_BY, fit
from cabinvigil.daemon.rehearsal.nights import NIGHTS, NamedNight, NightFigures
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import Cabin, PartSettings, changed
from cabinvigil.daemon.text.units_said import US

GULL = Cabin(
    name="gull",
    volume_m3=6.0,
    people=1,
    altitude_m=0.0,
    burner_kw=1.1,
    vent_low_cm2=60.0,
    vent_high_cm2=80.0,
    outside_c=3.0,
)


def gull(cabin: Cabin = GULL, **parts: PartSettings) -> Settings:
    return replace(example(), cabin=cabin, parts=parts)


def powers(night: NamedNight) -> set[float]:
    return {one.to["burner_kw"] for one in night.changes if "burner_kw" in one.to}


@pytest.mark.parametrize("name", NIGHTS)
def test_the_lapwing_s_nights_are_its_own(name: str) -> None:
    """Fitted to the example nothing changes, and nothing has to be said.

    But for what the night of a certified alarm adds.
    """
    fitted = fit(name, example())
    assert fitted.night == NIGHTS[name]
    assert fitted.notes == ((ADDED,) if name == "alarm" else ())


def test_heater_sleepers_and_cold_are_the_cabin_s() -> None:
    """A lowest setting that is not told is half, as the trailer's."""
    quiet, shut = fit("quiet", gull()).night, fit("shut", gull()).night
    assert [*powers(quiet)] == [pytest.approx(0.55)]
    assert powers(shut) == {1.1}
    assert (quiet.first.people, quiet.first.outside_c) == (1.0, 3.0)
    assert fit("crowded", gull()).night.first.people == 2.0
    assert shut.changes[0].words == "heater lit, 1.1 kW"


def test_without_a_heater_none_is_lit() -> None:
    """And that is said where the night is about one."""
    cabin = changed(GULL, burner_kw=0.0)
    fitted = fit("leak", gull(cabin))
    assert powers(fitted.night) <= {0.0}
    fitted = fit("flat", gull(cabin))
    assert "This cabin has no heater, so none is lit." in fitted.notes


def test_what_is_taken_for_granted_is_said() -> None:
    """One sentence, with each figure."""
    (note,) = fit("quiet", gull(Cabin(name="bare"))).notes
    for words in ("11 m³", "0 m", "1.6 kW", "150 cm²", "sleepers 2", "-9 °C"):
        assert words in note
    (note,) = fit("quiet", gull(Cabin(name="bare")), US).notes
    assert note == (
        "Assumed, since [cabin] does not say: volume 388 ft³, altitude 0 ft, heater "
        "5,459 BTU/h, floor vent 23.3 in², roof vent 23.3 in², sleepers 2, outside "
        "15.8 °F."
    )
    assert fit("quiet", gull()).notes == ()
    (note,) = fit("quiet", gull(changed(GULL, people=None))).notes
    assert note == "Assumed, since [cabin] does not say: sleepers 2."


@pytest.mark.parametrize("name", sorted(SHOWN_BY))
def test_what_no_part_sees_is_said(name: str) -> None:
    """One line, and the night is played."""
    pane = PartSettings(kind="ds18b20", path="/sys/x", place="glass")
    fitted = fit(name, gull(pane=pane))
    assert [one for one in fitted.notes if "No sensor here measures" in one]
    assert fitted.night.changes == fit(name, gull()).night.changes


def test_other_parts_fail_in_their_place() -> None:
    """By what they give; a bus fails where there is one."""
    parts = {
        "head": PartSettings(kind="o2_key_register", bus="main"),
        "damp": PartSettings(kind="bme280", bus="main"),
    }
    fitted = fit("failing", gull(**parts))
    assert [(one.part, one.fault) for one in fitted.night.failures] == [
        ("head", "stall"),
        ("damp", "vanish"),
        ("damp", "identity"),
        ("bus", "hold"),
        ("head", "stick"),
    ]
    assert fitted.notes == (
        "Some of the sensors that fail in this night are not in this cabin.",
    )
    no_bus = replace(gull(**parts), i2c={})
    assert "bus" not in {one.part for one in fit("failing", no_bus).night.failures}


def test_every_role_has_its_quantity() -> None:
    """A part of the trailer that fails in some night is replaced elsewhere."""
    roles = {one.part for night in NIGHTS.values() for one in night.failures}
    assert roles - {"bus"} == set(PLAYED_BY)


def test_fresh_air_is_that_of_the_height() -> None:
    """Standard atmosphere (ISO 2533): 1013.25 hPa at 0 m, 701.1 at 3 000."""
    low, high = (fresh_air(changed(GULL, altitude_m=at)) for at in (0.0, 3000.0))
    assert low.pressure_hpa == pytest.approx(1013.25, abs=0.01)
    assert high.pressure_hpa == pytest.approx(701.1, abs=0.2)
    # 12.8 hPa of vapour at 15 °C and 75 % (Magnus) take more of thin air.
    assert low.o2_pct == pytest.approx(20.95 * (1.0 - 12.8 / 1013.25), abs=0.01)
    assert high.o2_pct == pytest.approx(20.95 * (1.0 - 12.8 / 701.1), abs=0.01)
    assert NightFigures().low_kw == 0.8


@pytest.mark.parametrize(
    ("outside_c", "u_w_m2k", "pane_c"),
    # 15 °C inside, and 0.13 m2K/W at the inner face (ISO 6946): by hand.
    [(-20.0, 5.7, -10.9), (-20.0, 2.8, 2.3), (10.0, 5.7, 11.3), (None, 5.7, 2.0)],
)
def test_the_pane_has_the_frost_of_the_config(
    outside_c: float | None, u_w_m2k: float, pane_c: float
) -> None:
    """`precheck --emulated` had it at 2 °C whatever was outdoors."""
    about = changed(GULL, outside_c=outside_c, glass_u_w_m2k=u_w_m2k)
    assert fresh_air(about).glass_c == pytest.approx(pane_c, abs=0.1)


@pytest.mark.parametrize(
    ("low_cm2", "high_cm2", "title", "opened"),
    [
        (60.0, 80.0, "the floor vent alone, then both vents", [(1.0, 0.0), (1.0, 1.0)]),
        (None, None, "the floor vent alone, then both vents", [(1.0, 0.0), (1.0, 1.0)]),
        (60.0, 0.0, "the floor vent half open, then open", [(0.5, 0.5), (1.0, 1.0)]),
        (0.0, 80.0, "the roof vent half open, then open", [(0.5, 0.5), (1.0, 1.0)]),
        (0.0, 0.0, "since there are no vents", [(1.0, 1.0), (1.0, 1.0)]),
    ],
)
def test_trials_are_of_the_vents_that_are_there(
    low_cm2: float | None,
    high_cm2: float | None,
    title: str,
    opened: list[tuple[float, float]],
) -> None:
    """A cabin with one vent was rehearsed with "floor and roof vent open"."""
    cabin = changed(GULL, vent_low_cm2=low_cm2, vent_high_cm2=high_cm2)
    night = fit("trials", gull(cabin)).night
    assert title in night.title
    vents = [one.to for one in night.changes if one.to.get("low_open", 12.0) != 12.0]
    assert [(to["low_open"], to["high_open"]) for to in vents] == opened
    begun = [one.act.text for one in night.acts if one.act.text]
    assert begun == [one.words for one in night.changes if one.to in vents]
    assert len(set(begun)) == 2, "morning and compare name trials by their text"
