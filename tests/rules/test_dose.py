"""The rule on carbon monoxide as a dose; its times are held in tests/core/test_dose."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from cabinvigil.daemon.air.blood import CHILD, SMOKER, cohb_step
from cabinvigil.daemon.core.dose import Dose
from cabinvigil.daemon.core.layout import Surroundings
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.rules import dose
from cabinvigil.daemon.rules.dose import DoseStep, Params
from tests.core.scenario import Night, cabin
from tests.core.test_dose import co_dose

P = Priority
CO_DOSE = Params(
    [DoseStep(2.5, "low"), DoseStep(5.0, "medium"), DoseStep(10.0, "high")]
)


BODIES = {"child": CHILD, "smoker": SMOKER}


def after(
    cohb_pct: float,
    co_ppm: float,
    fraction: float = 0.0,
    marks: str = "",
    others: Mapping[str, float] | None = None,
) -> Verdict | None:
    """What the rule says with so much in the blood and so much in the air."""
    bodies = {name: BODIES[name] for name in others or {}}
    night = Night(cabin(keys=["co_ppm"], surroundings=Surroundings(others=bodies)))
    night.air(
        {"co_ppm": co_ppm},
        doubtful=["co_ppm"] if "?" in marks else [],
        at_least=["co_ppm"] if "+" in marks else [],
    )
    history = replace(night.state.history, dose=Dose(cohb_pct, fraction, others or {}))
    return dose.judge(CO_DOSE, history, night.now)


@pytest.mark.parametrize(
    ("cohb_pct", "raises", "holds"),
    [
        (0.75, None, None),
        (2.3, None, P.LOW),
        (2.5, P.LOW, P.LOW),
        (4.8, P.LOW, P.MEDIUM),
        (5.0, P.MEDIUM, P.MEDIUM),
        (9.8, P.MEDIUM, P.HIGH),
        (10.0, P.HIGH, P.HIGH),
        (60.0, P.HIGH, P.HIGH),
    ],
)
def test_the_ladder_of_the_blood_now(
    cohb_pct: float, raises: Priority | None, holds: Priority | None
) -> None:
    """2.5 % (WHO), 5 % and 10 % (UL 2034's basis), with their dead-band."""
    verdict = after(cohb_pct, 10.0)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)


@pytest.mark.parametrize(
    ("cohb_pct", "raises", "holds", "wording"),
    [
        (2.6, None, None, "after"),
        (9.7, None, None, "after"),
        (9.8, None, P.HIGH, "after"),
        (10.0, P.HIGH, P.HIGH, "after"),
    ],
)
def test_a_dose_that_only_falls_in_clean_air_asks_for_help_or_for_nothing(
    cohb_pct: float, raises: Priority | None, holds: Priority | None, wording: str
) -> None:
    """A light dose carried home keeps nobody in the frost; a poisoning is told on."""
    verdict = after(cohb_pct, 7.9)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)
    assert verdict.wording == wording


@pytest.mark.parametrize(
    ("co_ppm", "raises", "holds"),
    [(7.9, None, None), (8.0, None, P.LOW), (9.9, None, P.LOW), (10.0, P.LOW, P.LOW)],
)
def test_the_edge_of_clean_air_has_its_dead_band(
    co_ppm: float, raises: Priority | None, holds: Priority | None
) -> None:
    """Air that wavers about 10 ppm does not ring and clear again and again."""
    verdict = after(3.0, co_ppm)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)


@pytest.mark.parametrize(
    ("cohb_pct", "co_ppm", "wording"),
    [
        (0.75, 400.0, "ahead"),
        (8.0, 250.0, "ahead"),
        (9.7, 400.0, "ahead"),
        (9.8, 400.0, ""),
        (12.0, 60.0, ""),
        (60.0, 400.0, ""),
    ],
)
def test_what_an_hour_ahead_will_be_is_not_said_to_be_in_the_blood(
    cohb_pct: float, co_ppm: float, wording: str
) -> None:
    """A few seconds beside a heater that is being lit have put nothing there."""
    verdict = after(cohb_pct, co_ppm)
    assert verdict is not None
    assert verdict.priority is P.HIGH
    assert verdict.wording == wording


def test_doubtful_clean_air_ends_no_dose() -> None:
    """A part in doubt says nothing of clean air; the dose it fell from stands."""
    verdict = after(6.0, 0.0, marks="?")
    assert verdict is not None
    assert verdict.priority is P.MEDIUM


def test_a_smokers_own_is_no_news_of_the_air() -> None:
    """Eight percent at bedtime ring nothing; ten are a poisoning whoever has them."""
    verdict = after(0.75, 12.0, others={"smoker": 8.0})
    assert verdict is not None
    assert verdict.priority is None
    poisoned = after(0.75, 12.0, others={"smoker": 10.1})
    assert poisoned is not None
    assert poisoned.priority is P.HIGH
    assert poisoned.evidence["body"] == "smoker"


def test_the_sleeper_who_has_most_to_tell_is_told_of() -> None:
    """A child reaches a step before an adult; a smoker's higher number is not its."""
    verdict = after(2.0, 20.0, others={"child": 2.6, "smoker": 7.0})
    assert verdict is not None
    assert (verdict.priority, verdict.evidence["body"]) == (P.LOW, "child")
    assert verdict.facts["cohb_pct"] == verdict.severity == pytest.approx(2.8, abs=0.1)


def test_an_hour_ahead_counts_like_now() -> None:
    """At 400 ppm a clean sleeper has ten percent within the hour: high, at once."""
    assert cohb_step(0.75, 400.0, 3600.0) > 10.0
    verdict = after(0.75, 400.0)
    assert verdict is not None
    assert verdict.priority is P.HIGH
    assert verdict.facts == {
        "co_ppm": 400.0,
        "cohb_pct": cohb_step(0.75, 400.0, 3600.0),
        "hours": 1.0,
    }
    assert verdict.severity == verdict.facts["cohb_pct"]
    assert verdict.evidence["cohb_pct"] == 0.75


@pytest.mark.parametrize(
    ("fraction", "co_ppm", "raises", "holds"),
    [
        (0.89, 40.0, None, None),
        (0.9, 40.0, None, P.HIGH),
        (1.0, 40.0, P.HIGH, P.HIGH),
        (1.0, 30.0, P.HIGH, P.HIGH),
        (2.0, 29.9, None, None),
    ],
)
def test_the_standards_time_orders_people_out_while_there_is_gas(
    fraction: float, co_ppm: float, raises: Priority | None, holds: Priority | None
) -> None:
    """Due at one, held down to 0.9, gone when CO itself is under 30 ppm."""
    verdict = after(0.75, co_ppm, fraction)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)
    assert verdict.wording == ("standard" if raises else "")


def test_the_graver_of_blood_and_time_rules() -> None:
    """A high dose is not softened by a due time, nor told as one."""
    verdict = after(11.0, 60.0, 1.5)
    assert verdict is not None
    assert (verdict.priority, verdict.wording) == (P.HIGH, "")
    low = after(2.6, 35.0, 1.5)
    assert low is not None
    assert (low.priority, low.wording) == (P.HIGH, "standard")


@pytest.mark.parametrize("marks", ["?", "+"])
def test_a_doubtful_value_or_a_bound_never_clears(marks: str) -> None:
    """It may raise: 400 ppm out of range is told."""
    assert after(0.75, 0.0, marks=marks) is None
    raised = after(0.75, 400.0, marks=marks)
    assert raised is not None
    assert raised.priority is P.HIGH


def test_a_dose_that_is_not_measured_is_not_known() -> None:
    """None without a fresh CO value."""
    night = Night(cabin(keys=["co_ppm"]))
    assert dose.judge(CO_DOSE, night.state.history, night.now) is None


def test_after_airing_a_poisoning_still_asks_for_help() -> None:
    """Out of 300 ppm into clean air: above ten percent for hours, told as that."""
    night = Night(cabin(co_dose(), keys=["co_ppm"]))
    night.hold({"co_ppm": 300.0}, 3 * 3600.0, 60.0)
    assert night.standing("co-dose").priority is P.HIGH
    night.act("ack")
    night.hold({"co_ppm": 0.0}, 3600.0, 60.0)
    assert night.standing("co-dose").stands
    assert night.standing("co-dose").text.startswith("co-dose high after")
    night.hold({"co_ppm": 0.0}, 24 * 3600.0, 60.0)
    assert not night.standing("co-dose").stands


def test_a_light_dose_ends_with_the_gas() -> None:
    """Sixty ppm for two hours, then aired: out of the frost within the off-delay."""
    night = Night(cabin(co_dose(), keys=["co_ppm"]))
    night.hold({"co_ppm": 60.0}, 2 * 3600.0, 60.0)
    assert night.standing("co-dose").stands
    night.act("ack")
    night.hold({"co_ppm": 0.0}, 180.0, 10.0)
    assert night.state.history.dose.cohb_pct > 2.5
    assert not night.standing("co-dose").stands


def test_limits_that_cannot_be_are_refused() -> None:
    """No ladder, or a step that nobody reaches alive."""
    with pytest.raises(ValueError, match="never sound"):
        Params([])
    with pytest.raises(ValueError, match="at is 250"):
        DoseStep(250.0, "high")
