"""The bounded past: what is taken, what is refused, and the means over hours."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.history import KEPT_MINUTES, Series, begin, take
from cabinvigil.daemon.core.layout import SeriesSpec
from cabinvigil.daemon.core.model import Air
from tests.core.scenario import Night, cabin, series

O2 = series("o2_pct", jump_per_s=0.5)


def fed(*values: float, step_s: float = 1.0, spec: SeriesSpec = O2) -> Series:
    """A series that was given these values, one a step."""
    past = Series()
    for index, value in enumerate(values):
        past = take(spec, past, value, index * step_s)
    return past


def test_a_value_is_taken_with_its_marks() -> None:
    """Value, moment, doubt and bound are kept."""
    past = take(O2, Series(), 20.9, 5.0, doubtful=True, at_least=True)
    assert (past.value, past.at_s, past.doubtful, past.at_least) == (
        20.9,
        5.0,
        True,
        True,
    )
    again = take(O2, past, 20.9, 6.0)
    assert (again.doubtful, again.at_least, again.changed_s) == (False, False, 5.0)
    assert take(O2, again, 20.8, 7.0).changed_s == 7.0


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 0.0, -6.0, 58.0])
def test_what_no_air_can_be_is_refused(value: float) -> None:
    """-6 and 58 % oxygen are real faults of recorded nights; they never enter."""
    past = take(O2, fed(20.9), value, 1.0)
    assert past.value == 20.9
    assert past.at_s == 0.0
    assert past.refused is not None
    assert (past.refused.kind, past.refused.count) == ("range", 1)


def test_refusals_are_counted_until_a_good_value_comes() -> None:
    """A run has a beginning and a length; one good value ends it."""
    past = fed(20.9, 58.0, 58.0, 58.0)
    assert past.refused is not None
    assert (past.refused.first_s, past.refused.count) == (1.0, 3)
    assert take(O2, past, 20.9, 4.0).refused is None


def test_a_run_of_another_kind_or_side_is_another_run() -> None:
    """Out of range, then a jump up, then a jump down: three runs of one."""
    for values in ((20.9, 58.0, 25.0), (20.9, 25.0, 58.0), (20.9, 25.0, 5.0)):
        refused = fed(*values).refused
        assert refused is not None
        assert (refused.count, refused.first_s) == (1, 2.0)


def test_a_single_wild_value_never_enters() -> None:
    """One leap of 5 % in a second is no air: refused, and the next good one taken."""
    past = fed(20.9, 15.0, 20.9)
    assert (past.value, past.refused) == (20.9, None)
    assert past.total == pytest.approx(41.8)


def test_a_leap_that_the_next_value_confirms_is_believed() -> None:
    """Twice the same is the air, or the part: it must ring, not be lost."""
    assert fed(20.9, 15.0, 15.2).value == 15.2
    assert fed(20.9, 15.0, 15.9).value == 20.9


def test_a_slow_part_may_change_more_between_its_values() -> None:
    """The bound is a rate: 0.5 % a second over ten seconds is 5 %."""
    assert fed(20.9, 16.0, step_s=10.0).value == 16.0
    assert fed(20.9, 15.0, step_s=10.0).value == 20.9


def test_two_values_within_a_second_may_differ_as_in_a_second() -> None:
    """Readings may come at once one after the other; noise is no jump then."""
    past = take(O2, fed(20.9), 20.5, 0.0)
    assert past.value == 20.5


def test_three_leaps_to_one_side_are_the_air() -> None:
    """Oxygen that falls faster than any step is believed is not lost for it."""
    assert fed(20.9, 17.0, 13.0).value == 20.9
    assert fed(20.9, 17.0, 13.0, 9.0).value == 9.0


def test_leaps_up_and_down_are_a_loose_wire() -> None:
    """Wild values on both sides agree with nothing and are never believed."""
    assert fed(20.9, 5.0, 29.0, 8.0, 27.0, 3.0, 25.0, 6.0).value == 20.9


def test_after_silence_there_is_nothing_to_jump_from() -> None:
    """The first value after a stale one is taken, whatever it is."""
    assert fed(20.9, 15.0, step_s=31.0).value == 15.0


def test_wild_values_do_not_become_air_by_outlasting_the_last_good_one() -> None:
    """While leaps go on disagreeing, the stale last value lends none of them trust."""
    wild = [5.0 if n % 2 else 29.0 for n in range(60)]
    slow = series("o2_pct", jump_per_s=0.1)
    past = fed(20.9, *wild, spec=slow)
    assert past.value == 20.9
    assert fed(20.9, *wild, 12.0, 12.0, spec=slow).value == 12.0


def test_a_leap_long_ago_heralds_nothing() -> None:
    """A jump, a long silence, then a value: taken as the first of a new day."""
    past = fed(20.9, 15.0)
    assert take(O2, past, 18.0, 100.0).value == 18.0
    # Whatever it is: so long ago even the herald is no air to have moved from.
    assert take(series("o2_pct", jump_per_s=0.1), past, 29.0, 100.0).value == 29.0


def test_minutes_are_means_at_their_middle() -> None:
    """Six values a minute make one mean, stamped with the minute's middle."""
    past = Series()
    for second in range(0, 130, 10):
        past = take(O2, past, 20.0 + second // 60 * 0.1, float(second))
    assert [at for at, _ in past.minutes] == [30.0, 90.0]
    assert [mean for _, mean in past.minutes] == pytest.approx([20.0, 20.1])
    assert past.count == 1


def test_the_past_is_bounded() -> None:
    """Thirty nights take no more room than eight hours."""
    past = Series()
    for minute in range(KEPT_MINUTES + 50):
        past = take(O2, past, 20.9, minute * 60.0)
    assert len(past.minutes) == KEPT_MINUTES
    assert past.minutes[-1][0] == (KEPT_MINUTES + 48) * 60.0 + 30.0


def test_a_value_is_fresh_for_its_age_and_no_longer() -> None:
    """Thirty seconds is fresh, thirty-one is not: counted to the last tick.

    Between two slow ticks no reading can come, and none is missed for that.
    """
    night = Night(cabin())
    night.air({"o2_pct": 20.9}, 0.0)
    at_age = replace(night.state.history, now=30.0, ticked_s=30.0)
    assert at_age.value("o2_pct") == 20.9
    assert replace(at_age, now=39.0).value("o2_pct") == 20.9
    assert replace(at_age, now=39.0, ticked_s=30.1).value("o2_pct") is None
    assert at_age.fresh("no-such-series") is None


def test_the_worst_is_the_lowest_or_the_highest_of_the_fresh() -> None:
    """A stale value counts for nothing, whatever it was."""
    night = Night(cabin(keys=["o2_pct", "o2_pct_floor", "o2_pct_roof"]))
    night.air({"o2_pct_floor": 15.0}, 0.0)
    night.air({"o2_pct": 20.0, "o2_pct_roof": 20.5}, 40.0)
    history = night.state.history
    assert history.worst("o2_pct", "below") == ("o2_pct", history.series["o2_pct"])
    worst = history.worst("o2_pct", "above")
    assert worst is not None
    assert worst[0] == "o2_pct_roof"
    assert history.worst("o2_pct", "below", "floor") is None
    assert history.worst("co_ppm", "above") is None


def meaned(*values: float, before: float = 420.0, over_s: float = 28800.0) -> float:
    night = Night(cabin(keys=["co2_ppm"]))
    for value in values:
        night.air({"co2_ppm": value}, 60.0)
    found = night.state.history.mean("co2_ppm", over_s, before)
    assert found is not None
    return found


def test_the_mean_over_a_shift_begins_with_outdoor_air() -> None:
    """One hour at 5 000 ppm within eight is (5 000 + 7 x 420) / 8 as a mean."""
    assert meaned(*[5000.0] * 61) == pytest.approx((5000 + 7 * 420) / 8, rel=0.01)


def test_the_mean_over_a_whole_window_forgets_the_beginning() -> None:
    """After eight hours the assumed air has left the window, and so has the first."""
    assert meaned(*[9000.0] * 10, *[5000.0] * 481) == pytest.approx(5000.0)


def test_a_mean_counts_from_the_first_value_not_from_the_start() -> None:
    """A part plugged in after seven hours knows ten minutes, not seven hours."""
    night = Night(cabin(keys=["co2_ppm"]))
    night.air({}, 7 * 3600.0)
    for _ in range(11):
        night.air({"co2_ppm": 9000.0}, 60.0)
    found = night.state.history.mean("co2_ppm", 28800.0, 420.0)
    assert found == pytest.approx((10 * 9000 + 470 * 420) / 480)


def test_a_mean_of_nothing_is_not_known() -> None:
    """No series, no whole minute, or none within the window: None."""
    night = Night(cabin(keys=["co2_ppm"]))
    assert night.state.history.mean("o2_pct", 60.0, 0.0) is None
    night.air({"co2_ppm": 500.0})
    assert night.state.history.mean("co2_ppm", 60.0, 0.0) is None
    night.air({"co2_ppm": 500.0}, 60.0)
    assert night.state.history.mean("co2_ppm", 60.0, 0.0) == 500.0
    night.air({}, 600.0)
    assert night.state.history.mean("co2_ppm", 60.0, 0.0) is None


def test_history_begins_empty() -> None:
    """Nothing is known, and the start is remembered."""
    history = begin(cabin().layout, 12.0)
    assert (history.started_s, history.now) == (12.0, 12.0)
    assert history.fresh("o2_pct") is None


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True),
            st.sampled_from([0.0, 0.5, 1.0, 10.0, 60.0]),
            st.booleans(),
        ),
        max_size=40,
    )
)
def test_whatever_is_given_only_possible_air_is_taken(
    given_: list[tuple[float, float, bool]],
) -> None:
    """Any numbers at any times: the series stays possible, ordered and bounded."""
    night = Night(cabin(keys=[O2]))
    for value, gap_s, is_near in given_:
        near = 20.0 + math.atan(value) if math.isfinite(value) else 20.0
        night.take(Air({"o2_pct": near if is_near else value}), gap_s)
        past = night.state.history.series["o2_pct"]
        assert math.isnan(past.value) or O2.low <= past.value <= O2.high
        times = [at for at, _ in past.minutes]
        assert times == sorted(set(times))
        assert all(O2.low <= mean <= O2.high for _, mean in past.minutes)


def test_two_leaps_that_disagree_are_not_believed_late_in_the_night_either() -> None:
    """How far two leaps may lie apart goes by the time between them alone."""
    past = Series()
    for second, value in ((30000.0, 20.9), (30001.0, 12.0), (30002.0, 15.0)):
        past = take(O2, past, value, second)
    assert past.value == 20.9
