"""What was breathed outlives a restart."""

import math

import pytest

from cabinvigil.daemon.air.blood import CHILD, UNBORN
from cabinvigil.daemon.core.layout import Surroundings
from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.core.snapshot import restore, to_plain
from tests.core.scenario import Night, cabin
from tests.core.test_snapshot import again


def test_the_dose_does_not_fall_in_time_that_nobody_measured() -> None:
    """The heater burns on through a power cut: hours unmeasured are not clean."""
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 200.0}, 4 * 3600.0, 60.0)
    dose = night.state.history.dose
    for down_s in (None, 60.0, 3600.0, 86_400.0):
        assert again(night, down_s=down_s)[0].state.history.dose == dose


def test_the_dose_is_breathed_off_where_the_last_air_was_clean() -> None:
    """320 min down halve it; down for an unknown time leaves it whole."""
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 200.0}, 4 * 3600.0, 60.0)
    night.air({"co_ppm": 3.0}, 60.0)
    dose = night.state.history.dose
    assert again(night, down_s=None)[0].state.history.dose == dose
    later = again(night, down_s=320.0 * 60.0)[0].state.history.dose
    assert later.alarm_fraction == pytest.approx(dose.alarm_fraction / 2, rel=0.005)
    assert later.cohb_pct == pytest.approx(dose.cohb_pct / 2, rel=0.05)


@pytest.mark.hazard("silenced-by-restart")
@pytest.mark.parametrize("end", ["silent", "doubtful", "faulty"])
def test_the_dose_is_held_where_the_last_air_was_not_surely_clean(end: str) -> None:
    """The part had said 3 ppm, and then nothing, or nothing to be believed."""
    night = Night(cabin(keys=["co_ppm"]))
    night.hold({"co_ppm": 200.0}, 4 * 3600.0, 60.0)
    night.air({"co_ppm": 3.0}, 10.0)
    if end == "silent":
        night.air({}, 600.0)
    elif end == "doubtful":
        night.air({"co_ppm": 3.0}, 10.0, doubtful=["co_ppm"])
    else:
        night.take(SourceFault("the-co_ppm", "checksum", "It stammers."), 10.0)
    dose = night.state.history.dose
    assert again(night, down_s=320.0 * 60.0)[0].state.history.dose == dose


def test_the_blood_of_the_others_outlives_a_restart() -> None:
    """By name: who is no longer counted is left, who is new begins with the adult's."""
    bodies = {"child": CHILD, "unborn": UNBORN}
    night = Night(cabin(keys=["co_ppm"], surroundings=Surroundings(others=bodies)))
    night.hold({"co_ppm": 200.0}, 2 * 3600.0, 60.0)
    dose = night.state.history.dose
    assert dose.others_pct["child"] > dose.cohb_pct
    assert again(night, down_s=60.0)[0].state.history.dose == dose
    fewer = cabin(keys=["co_ppm"], surroundings=Surroundings(others={"child": CHILD}))
    state, _ = restore(fewer, to_plain(night.state), 5.0, down_s=60.0)
    assert state.history.dose.others_pct == {"child": dose.others_pct["child"]}
    plain = to_plain(night.state)
    plain["dose"]["others_pct"] = {"child": "much", "unborn": math.nan}
    state, _ = restore(night.setup, plain, 5.0, down_s=60.0)
    assert state.history.dose.others_pct == {}
