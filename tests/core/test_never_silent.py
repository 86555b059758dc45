"""Above 300 ppm of carbon monoxide nothing that anybody does makes silence.

EN 50291-1:2018 tests that no alarm can be silenced above 300 ppm (a page on what it
changed, secondary); UL 2034 lets an answered one be quiet for six minutes at most.
"""

from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import Act, ActKind, Air, Event, Sound
from cabinvigil.daemon.core.snapshot import restore, to_plain
from tests.core.scenario import Night, cabin, co_level, o2_low
from tests.core.test_dose import co_dose

SETUP = cabin(co_level(), co_dose(), o2_low(), keys=["co_ppm", "o2_pct"])
MUCH = st.builds(
    Air,
    st.fixed_dictionaries(
        {"co_ppm": st.floats(300.0, 5000.0)},
        optional={"o2_pct": st.sampled_from([20.9, 19.4, 17.0])},
    ),
    st.sampled_from([frozenset(), frozenset({"co_ppm"})]),
    st.sampled_from([frozenset(), frozenset({"co_ppm"}), frozenset({"o2_pct"})]),
)
ACT = st.builds(
    Act,
    st.sampled_from(ActKind),
    st.sampled_from(["", "co-level", "co-dose", "o2-low"]),
    st.sampled_from(["button", "phone", "socket"]),
    st.just(""),
    st.sampled_from([0.0, 60.0, 1e9]),
    st.sampled_from([0.0, 0.0, 30.0]),
)
GAP = st.sampled_from([0.0, 1.0, 5.0, 10.0, 29.0])
LITTLE = st.just(Air({"co_ppm": 250.0}))
BEFORE = st.lists(st.tuples(GAP, st.one_of(ACT, LITTLE)), max_size=8)
AFTER = st.lists(st.tuples(GAP, st.one_of(MUCH, ACT, ACT)), max_size=60)


@settings(max_examples=300, deadline=None)
@given(BEFORE, AFTER, st.booleans())
def test_no_sequence_of_answers_makes_silence(
    before: list[tuple[float, Event]],
    after: list[tuple[float, Event]],
    is_killed: bool,
) -> None:
    """Whoever answers, shelves, takes out of service, kills the watch: it sounds."""
    state, now = start(SETUP, 0.0), 0.0
    happened = [*before, (1.0, Air({"co_ppm": 310.0})), *after]
    for number, (gap_s, event) in enumerate(happened):
        now += gap_s
        state, _ = step(state, event, now)
        if number >= len(before):
            assert state.sound.pattern == "temporal-four"
    if is_killed:
        state, _ = restore(SETUP, to_plain(state), now, down_s=2.0)
        state, _ = step(state, Act(ActKind.ACKNOWLEDGE), now + 60.0)
    assert state.sound.pattern == "temporal-four"


def test_it_sounds_again_as_it_passes_300_within_an_answers_quiet_time() -> None:
    """Answered at 250 ppm, and worse half a minute later."""
    night = Night(cabin(co_level(again_step=1e9), keys=["co_ppm"]))
    night.hold({"co_ppm": 250.0}, 30.0)
    night.act("ack")
    night.hold({"co_ppm": 290.0}, 30.0)
    assert night.state.sound == Sound("quiet")
    night.air({"co_ppm": 300.0})
    assert night.state.sound.pattern == "temporal-four"
    night.act("ack")
    assert night.state.sound.pattern == "temporal-four"
    night.hold({"co_ppm": 280.0}, 20.0)
    night.act("ack")
    assert night.state.sound == Sound("quiet")


def test_an_answered_alarm_sounds_again_within_six_minutes() -> None:
    """UL 2034, at any level that stands: by level and by dose."""
    night = Night(SETUP)
    night.hold({"co_ppm": 150.0}, 3600.0, 10.0)
    night.act("ack")
    assert night.state.sound == Sound("quiet")
    night.hold({"co_ppm": 150.0}, 350.0, 10.0)
    assert night.state.sound.pattern == "temporal-four"
