"""What a lost part weighs, however it is lost: the composed core on parts that fail."""

from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.vital import LOST_WAKES_S, STILL_WAKES_S
from cabinvigil.daemon.rules import stale
from cabinvigil.drivers import REGISTRY, part
from cabinvigil.drivers.kit.quantity import VITAL
from tests.compose.living import LivingCabin

FAULT, MEDIUM = Priority.FAULT, Priority.MEDIUM
O2_KINDS = [name for name in sorted(REGISTRY) if "o2_pct" in part(name).gives]
CO_KINDS = [name for name in sorted(REGISTRY) if "co_ppm" in part(name).gives]
COARSE = ("co_named_i2c", "co_named_line", "frame9_o2")
"""Their step is larger than their noise: they may stand for an hour."""
SOME_CO = {"co_ppm": 29.0}
RICH = {"o2_pct": 22.2}
"""More oxygen than any air holds."""
ABSURD = {"o2_pct": 35.0}
"""More than any working part reads."""
LOSSES = [(kind, "frame9_co") for kind in O2_KINDS]
LOSSES += [(kind, "o2_optical_line") for kind in CO_KINDS]


def quantity(kind: str) -> str:
    return next(one for one in VITAL if one in part(kind).gives)


def lost(
    kind: str, mode: str, *others: str, after_s: float = 1200.0, for_s: float = 1000.0
) -> tuple[LivingCabin, float]:
    """A cabin in which one part is lost, and the moment at which it was."""
    hut = LivingCabin(kind, *others).play(after_s, lambda _: SOME_CO)
    hut.parts[kind].mode = mode
    lost_s = hut.night.now
    return hut.play(for_s, lambda _: SOME_CO), lost_s


def first_s(hut: LivingCabin, alarm: str, weight: Priority) -> float:
    """When an alarm first rang with this priority."""
    return next(at_s for at_s, _, rung, _ in hut.rung(alarm) if rung >= weight)


def test_the_times_are_those_that_readme_promises() -> None:
    """One number for each, in one place."""
    readme = (Path(__file__).parents[2] / "daemon" / "README.md").read_text("utf-8")
    retry_s = stale.Params().retry_s
    assert f"silent: within {LOST_WAKES_S:g} s of its last reading" in readme
    assert f"({retry_s:g} s of them are a retry" in readme
    assert f"in doubt: within {STILL_WAKES_S / 60.0:g} minutes" in readme


# --- parts that live -----------------------------------------------------------------


@pytest.mark.hazard("crying-wolf")
@pytest.mark.parametrize("kinds", [("frame9_co",), ("co_cell_ads1115",)])
@pytest.mark.parametrize("kind", O2_KINDS)
def test_parts_that_live_in_still_air_are_never_called_stuck(
    kind: str, kinds: tuple[str, ...]
) -> None:
    """Two hours of air that does not move, at each of two levels of CO."""
    hut = LivingCabin(kind, *kinds)
    hut.play(7200.0).play(3600.0, lambda _: {"co_ppm": 6.0})
    assert hut.rung("sensor-") == []


@pytest.mark.parametrize(
    ("kind", "options", "levels"),
    [
        ("frame9_co", {"answer_ppm": 1.0}, (0.0, 1.0, 3.0, 7.0, 25.0)),
        ("frame9_co", {"answer_ppm": 1.0, "mode": "question"}, (2.0, 12.0)),
        ("frame9_co", {"answer_ppm": 0.01}, (0.0, 6.0)),
        ("co_cell_ads1115", {"gain_ohm": 100.0}, (1.2, 8.4, 24.0)),
    ],
)
def test_a_part_whose_options_make_its_steps_larger_is_not_called_stuck(
    kind: str, options: dict[str, Any], levels: tuple[float, ...]
) -> None:
    """What one count stands for is the option's; half an hour at each level of CO."""
    hut = LivingCabin("o2_optical_line", kind, options={kind: options})
    for level in levels:
        hut.play(1800.0, lambda _, ppm=level: {"co_ppm": ppm})  # type: ignore[misc]
    assert hut.rung("sensor-") == []


@pytest.mark.parametrize(("ppm", "within_s"), [(7.0, 3600.0), (35.0, 300.0)])
def test_a_coarse_part_that_froze_away_from_zero_is_told_all_the_same(
    ppm: float, within_s: float
) -> None:
    """Where the air moves by less than its step, within the hour."""
    options = {"frame9_co": {"answer_ppm": 1.0}}
    hut = LivingCabin("o2_optical_line", "frame9_co", options=options)
    hut.play(300.0, lambda _: {"co_ppm": ppm})
    hut.parts["frame9_co"].mode = "frozen"
    frozen_s = hut.night.now
    hut.play(within_s + 30.0, lambda _: {"co_ppm": ppm})
    since_s = first_s(hut, "sensor-stuck/co_ppm", MEDIUM) - frozen_s
    assert 0.0 < since_s <= within_s + 5.0


def test_a_coarse_version_lives_by_its_partial_pressure() -> None:
    """Steps of 0.1 % stand for hours in still air; those of 0.1 mbar do not."""
    hut = LivingCabin("o2_optical_line", "frame9_co")
    hut.parts["o2_optical_line"].coarse["o2_pct"] = 0.1
    assert hut.play(7200.0).rung() == []


# --- stands still --------------------------------------------------------------------


@pytest.mark.hazard("blind-part")
@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_a_vital_part_that_stands_still_wakes_people_where_none_else_watches(
    kind: str, other: str
) -> None:
    """As a silent one does: nothing guards against what it measured."""
    within_s = 3600.0 if kind in COARSE else STILL_WAKES_S
    hut, lost_s = lost(kind, "frozen", other, for_s=within_s + 10.0)
    alarm = f"sensor-stuck/{quantity(kind)}"
    assert first_s(hut, alarm, MEDIUM) - lost_s <= within_s + 5.0
    ((_, _, _, text),) = hut.woken()
    words = "oxygen" if kind in O2_KINDS else "carbon monoxide"
    assert text.startswith(f"Nothing measures {words}: {kind} has been stuck for ")


@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_where_another_part_gives_the_same_it_is_a_fault(kind: str, other: str) -> None:
    """A chirp: the sleeper is guarded still."""
    fellows = {"o2_pct": ("frame9_o2", "o2_key_register"), "co_ppm": CO_KINDS}
    fellow = next(one for one in fellows[quantity(kind)] if one != kind)
    for_s = 3700.0 if kind in COARSE else 400.0
    hut, _ = lost(kind, "frozen", other, fellow, for_s=for_s)
    assert {weight for _, _, weight, _ in hut.rung("sensor-stuck")} == {FAULT}
    assert hut.woken() == []


@pytest.mark.hazard("blind-part")
def test_a_cell_that_died_is_stuck_though_the_barometer_moves_its_percent() -> None:
    """Its signal stands; its percent follows the weather all night."""
    hut = LivingCabin("o2_cell_ads1115", "frame9_co", "bme280").play(600.0)
    hut.parts["o2_cell_ads1115"].mode = "frozen"
    hut.play(STILL_WAKES_S, lambda now_s: {"pressure_hpa": 940.0 + now_s / 600.0})
    assert [alarm for _, alarm, _, _ in hut.woken()] == ["sensor-stuck/o2_pct"]


def test_a_pressure_that_is_worked_out_shows_no_life() -> None:
    """Of an optical part that leaves its own out, percent alone can stand still."""
    hut = LivingCabin("o2_optical_line", "frame9_co", "bme280", leave_out=("o2_hpa",))
    hut.play(600.0)
    hut.parts["o2_optical_line"].mode = "standing"
    hut.play(STILL_WAKES_S, lambda now_s: {"pressure_hpa": 940.0 + now_s / 600.0})
    assert [alarm for _, alarm, _, _ in hut.woken()] == ["sensor-stuck/o2_pct"]


@pytest.mark.parametrize("kind", CO_KINDS)
@pytest.mark.parametrize(("ppm", "is_stuck"), [(0.0, False), (29.0, True)])
def test_carbon_monoxide_rests_at_zero_and_nowhere_else(
    kind: str, ppm: float, is_stuck: bool
) -> None:
    """0.0 all night is clean air; 29.0 for long is a part that has died."""
    hut = LivingCabin(kind, "o2_optical_line").play(300.0)
    hut.parts[kind].signals["co_ppm"] = ppm
    hut.parts[kind].mode = "frozen"
    within_s = 3700.0 if kind in COARSE else STILL_WAKES_S
    hut.play(within_s if is_stuck else 8 * 3600.0, tick_s=20.0)
    assert bool(hut.rung("sensor-stuck/co_ppm")) is is_stuck


@pytest.mark.hazard("false-all-clear")
def test_nothing_clears_and_no_all_clear_comes_on_a_value_that_stands() -> None:
    """The projection rings, the cell dies at 19.8 %; oxygen falls on, unseen."""
    hut = LivingCabin("o2_optical_line", "frame9_co", volume_m3=11.0)
    hut.play(300.0)

    def burning(now_s: float) -> dict[str, float]:
        return {"o2_pct": 20.6 - 2.5 * (now_s - 300.0) / 3600.0}

    hut.play(1200.0, burning)
    assert hut.woken("o2-projected")
    hut.parts["o2_optical_line"].mode = "frozen"
    hut.play(3600.0, burning)
    assert hut.woken("sensor-stuck/o2_pct")
    assert [one for _, one in hut.night.alerts() if one.alarm == "all-clear"] == []


# --- the end of a range --------------------------------------------------------------


def smothering(now_s: float) -> dict[str, float]:
    """A burner in a shut cabin until 40 min, then the door is open."""
    burnt_s, aired_s = max(0.0, min(now_s, 2400.0) - 300.0), max(0.0, now_s - 2400.0)
    excess_ppm = 25.0 * burnt_s * 0.995**aired_s
    return {"co2_ppm": 430.0 + excess_ppm, "o2_pct": 20.8 - 1.55e-4 * excess_ppm}


@pytest.mark.hazard("crying-wolf")
def test_co2_at_the_end_of_its_range_is_neither_stuck_nor_another_gas() -> None:
    """Oxygen falls on while CO2 is 'at least 40 000'; then all is aired out."""
    hut = LivingCabin("o2_optical_line", "scd4x", "frame9_co", volume_m3=11.0)
    hut.play(4200.0, smothering, tick_s=10.0)
    worst = min(smothering(float(now_s))["o2_pct"] for now_s in range(0, 4200, 10))
    assert worst < 13.0
    for alarm in ("displaced-air", "gases-disagree", "sensor-"):
        assert hut.rung(alarm) == []


def test_saturated_air_is_no_stuck_humidity_part() -> None:
    """100 % for hours, while the burner is lit and the cabin warms."""
    hut = LivingCabin("sht4x", "bme280", "scd4x", "o2_optical_line", "frame9_co")
    for one in ("sht4x", "bme280", "scd4x"):
        hut.parts[one].coarse["rh_pct"] = 100.0
    hut.play(
        7200.0,
        lambda now_s: {
            "rh_pct": 100.0,
            "temp_c": 10.0 + now_s / 600.0,
            "co2_ppm": 800.0 + now_s,
            "o2_pct": 20.6 - 1.55e-4 * now_s,
        },
        tick_s=10.0,
    )
    assert hut.rung("sensor-stuck") == []


# --- silent --------------------------------------------------------------------------


@pytest.mark.hazard("blind-part")
@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_a_silent_vital_part_wakes_people_within_the_time_promised(
    kind: str, other: str
) -> None:
    """With another gas still watched, and at the slowest ticks that are allowed."""
    hut = LivingCabin(kind, other, "scd4x").play(1200.0)
    hut.parts[kind].mode = "silent"
    lost_s = hut.night.now
    hut.play(LOST_WAKES_S + 10.0, tick_s=10.0)
    woken_s = first_s(hut, f"sensor-stale/{quantity(kind)}", MEDIUM)
    assert part(kind).max_age_s + 20.0 <= woken_s - lost_s <= LOST_WAKES_S


@pytest.mark.hazard("crying-wolf")
@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_a_few_missed_answers_wake_nobody_where_another_gas_is_watched(
    kind: str, other: str
) -> None:
    """It is back within a retry: it was told with a chirp, and that is all."""
    hut = LivingCabin(kind, other).play(1200.0)
    hut.parts[kind].mode = "silent"
    hut.play(part(kind).max_age_s + 20.0)
    hut.parts[kind].mode = "alive"
    hut.play(300.0)
    assert hut.woken() == []
    assert [weight for _, _, weight, _ in hut.rung("sensor-stale")] != []


def test_where_nothing_else_watches_people_are_woken_at_once() -> None:
    """Both gases fall silent together: no retry is waited for."""
    hut = LivingCabin("o2_optical_line", "frame9_co").play(300.0)
    for one in hut.parts.values():
        one.mode = "silent"
    lost_s = hut.night.now
    hut.play(20.0, tick_s=1.0)
    assert first_s(hut, "sensor-stale/o2_pct", MEDIUM) - lost_s <= 10.0
    assert first_s(hut, "sensor-stale/co_ppm", MEDIUM) - lost_s <= 10.0


@pytest.mark.hazard("blind-part")
@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_a_vital_part_that_never_speaks_is_told_in_five_minutes(
    kind: str, other: str
) -> None:
    """However long it would take to warm up: it would give values meanwhile."""
    hut = LivingCabin(kind, other)
    hut.parts[kind].mode = "silent"
    hut.play(300.0)
    assert first_s(hut, f"sensor-stale/{quantity(kind)}", MEDIUM) <= 300.0


# --- in doubt ------------------------------------------------------------------------


@pytest.mark.hazard("blind-part")
@pytest.mark.parametrize(("kind", "other"), LOSSES)
def test_a_vital_part_in_doubt_for_long_wakes_people(kind: str, other: str) -> None:
    """It may raise an alarm and may be blind; in its own warm-up it is waited for."""
    within_s = max(STILL_WAKES_S, part(kind).warm_up_s + 120.0)
    hut, lost_s = lost(kind, "doubtful", other, for_s=within_s)
    ((woken_s, alarm, _, text),) = hut.woken()
    assert alarm == f"sensor-warming/{kind}"
    assert 600.0 <= woken_s - lost_s <= within_s
    assert text.startswith("Nothing measures ")
    assert f"{kind} is not reliable yet" in text


@pytest.mark.parametrize("kind", [*O2_KINDS, *CO_KINDS])
def test_a_part_that_warms_up_for_as_long_as_it_may_is_not_told(kind: str) -> None:
    """At the start, and when it comes back in the night."""
    hut = LivingCabin(kind, *({"frame9_co", "o2_optical_line"} - {kind}))
    warm_up_s = part(kind).warm_up_s
    hut.parts[kind].mode = "doubtful"
    hut.play(warm_up_s)
    hut.parts[kind].mode = "alive"
    hut.play(1800.0)
    hut.parts[kind].mode = "silent"
    hut.play(part(kind).max_age_s + 10.0)
    hut.parts[kind].mode = "doubtful"
    hut.play(warm_up_s)
    hut.parts[kind].mode = "alive"
    hut.play(60.0)
    assert hut.rung("sensor-warming") == []


def test_a_part_that_stands_still_is_not_called_cold_or_wet() -> None:
    """It is doubtful too, and has an alarm of its own that says why."""
    hut, _ = lost("o2_optical_line", "frozen", "frame9_co", for_s=3600.0)
    assert hut.rung("sensor-warming") == []


# --- what cannot be ------------------------------------------------------------------


@pytest.mark.hazard("blind-part")
def test_oxygen_that_no_air_holds_is_watched_by_nothing() -> None:
    """A cell that reads 22 % has drifted, whichever way, and two of them alike."""
    alone = LivingCabin("o2_optical_line", "frame9_co", "bme280")
    alone.play(900.0, lambda _: RICH)
    ((_, alarm, _, text),) = alone.woken()
    assert alarm == "sensor-implausible/o2_pct"
    assert text.startswith("Oxygen reads too high for this air: do not trust ")
    both = LivingCabin("o2_optical_line", "o2_key_register", "frame9_co", "bme280")
    both.play(900.0, lambda _: RICH)
    said = [text for *_, text in both.woken()]
    assert all("reads too high for this air" in one for one in said)
    assert len(said) == 2


def test_values_that_no_air_has_are_a_loss_after_a_retry() -> None:
    """One such answer is a fault; a minute of nothing else wakes people."""
    hut = LivingCabin("o2_optical_line", "frame9_co").play(300.0)
    hut.play(5.0, lambda _: ABSURD).play(300.0)
    assert hut.woken() == []
    assert [weight for _, _, weight, _ in hut.rung("sensor-range/o2_pct")] == [FAULT]
    lost_s = hut.night.now
    hut.play(LOST_WAKES_S, lambda _: ABSURD)
    assert first_s(hut, "sensor-range/o2_pct", MEDIUM) - lost_s <= LOST_WAKES_S
