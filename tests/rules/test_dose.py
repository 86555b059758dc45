"""The rule on carbon monoxide as a dose; its times are held in tests/core/test_dose."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.air.blood import cohb_step
from cabinvigil.daemon.core.dose import Dose
from cabinvigil.daemon.core.model import Priority, Verdict
from cabinvigil.daemon.rules import dose
from cabinvigil.daemon.rules.dose import DoseStep, Params
from tests.core.scenario import Night, cabin
from tests.core.test_dose import co_dose

P = Priority
CO_DOSE = Params(
    [DoseStep(2.5, "low"), DoseStep(5.0, "medium"), DoseStep(10.0, "high")]
)


def after(
    cohb_pct: float, co_ppm: float, fraction: float = 0.0, marks: str = ""
) -> Verdict | None:
    """What the rule says with so much in the blood and so much in the air."""
    night = Night(cabin(keys=["co_ppm"]))
    night.air(
        {"co_ppm": co_ppm},
        doubtful=["co_ppm"] if "?" in marks else [],
        at_least=["co_ppm"] if "+" in marks else [],
    )
    history = replace(night.state.history, dose=Dose(cohb_pct, fraction))
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
    verdict = after(cohb_pct, 0.0)
    assert verdict is not None
    assert (verdict.priority, verdict.hold) == (raises, holds)


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
        (0.9, 40.0, None, P.MEDIUM),
        (1.0, 40.0, P.MEDIUM, P.MEDIUM),
        (1.0, 30.0, P.MEDIUM, P.MEDIUM),
        (2.0, 29.9, None, None),
    ],
)
def test_the_standards_time_rings_medium_while_there_is_gas(
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
    assert (low.priority, low.wording) == (P.MEDIUM, "standard")


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


def test_after_airing_the_blood_still_tells() -> None:
    """Out of 300 ppm into clean air: the dose stands on for hours, and falls."""
    night = Night(cabin(co_dose(), keys=["co_ppm"]))
    night.hold({"co_ppm": 300.0}, 3 * 3600.0, 60.0)
    assert night.standing("co-dose").priority is P.HIGH
    night.act("ack")
    night.hold({"co_ppm": 0.0}, 3600.0, 60.0)
    assert night.standing("co-dose").stands
    night.hold({"co_ppm": 0.0}, 24 * 3600.0, 60.0)
    assert not night.standing("co-dose").stands


def test_limits_that_cannot_be_are_refused() -> None:
    """No ladder, or a step that nobody reaches alive."""
    with pytest.raises(ValueError, match="never ring"):
        Params([])
    with pytest.raises(ValueError, match="at is 250"):
        DoseStep(250.0, "high")
