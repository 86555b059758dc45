"""No order of events makes a closed certified contact silent without an answer.

Drawn courses against the packaged limits: readings that calm, faults, lost lines, and
every act that a person, a phone or a socket can do.
"""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    AlarmState,
    Alert,
    Event,
    Priority,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.snapshot import restore, to_plain
from tests.core.test_contacts import composed

READING = st.builds(
    Air,
    st.fixed_dictionaries(
        {},
        optional={
            "co_ppm": st.sampled_from([0.0, 12.0, 90.0, 250.0]),
            "contact_co": st.sampled_from([0.0, 1.0, 1.0]),
            "contact_smoke": st.sampled_from([0.0, 0.0, 1.0]),
            "contact_door": st.sampled_from([0.0, 1.0]),
        },
    ),
    st.just(frozenset()),
    st.sampled_from([frozenset(), frozenset({"contact_co"}), frozenset({"co_ppm"})]),
)
ACT = st.builds(
    Act,
    st.sampled_from(ActKind),
    st.sampled_from(["", "contact-co", "contact-smoke", "sensor-stale/contact_co"]),
    st.sampled_from(["button", "phone", "socket"]),
    st.just("a vent"),
    st.sampled_from([0.0, 60.0, 1e9]),
    st.sampled_from([0.0, 0.0, 30.0]),
)
FAULTS = st.sampled_from(
    [
        SourceFault("wired-co", "wire-open", "It is cut."),
        SourceFault("bunk-co", "absent", "It is gone."),
        SourceOk("wired-co"),
        SourceOk("bunk-co"),
    ]
)
GAP = st.sampled_from([0.0, 1.0, 1.0, 5.0, 60.0])
COURSE = st.lists(st.tuples(GAP, st.one_of(READING, READING, ACT, FAULTS)), max_size=60)
ANSWERS = {ActKind.ACKNOWLEDGE, ActKind.RESET}
QUIET_S = 300.0


@pytest.mark.hazard("silenced-by-answer")
@settings(max_examples=250, deadline=None)
@given(COURSE, st.booleans())
def test_no_order_of_events_makes_a_closed_certified_contact_silent(
    course: list[tuple[float, Event]], is_killed: bool
) -> None:
    """While it is closed its alarm stands, high; without an answer it sounds.

    And after an answer it sounds again within its quiet time; it ends only where the
    contact has opened and somebody has answered; a phone is told as it closes.
    """
    setup = composed("wired-co:co", "wired-smoke:smoke", "hatch:door")
    state, now = start(setup, 0.0), 0.0
    closed_s: dict[str, float] = {}
    answered_s = -1e9
    had_answer: dict[str, bool] = {}
    for gap_s, event in course:
        now += gap_s
        before = {name: state.standings[f"contact-{name}"] for name in ("co", "smoke")}
        state, commands = step(state, event, now)
        if isinstance(event, Act) and event.kind in ANSWERS:
            answered_s = now
            had_answer = dict.fromkeys(had_answer, True)
        for name in ("co", "smoke"):
            standing = state.standings[f"contact-{name}"]
            if isinstance(event, Air) and f"contact_{name}" in event.values:
                is_closed = event.values[f"contact_{name}"] == 1.0
                if is_closed and name not in closed_s:
                    closed_s[name] = now
                    had_answer[name] = False
                    if before[name].state is AlarmState.NORMAL:
                        told = [c.alarm for c in commands if isinstance(c, Alert)]
                        assert f"contact-{name}" in told
                elif not is_closed:
                    closed_s.pop(name, None)
            if name in closed_s:
                assert standing.stands
                assert standing.priority is Priority.HIGH
                waits = answered_s < closed_s[name]
                is_over = isinstance(event, Air) and now >= answered_s + QUIET_S
                if waits or is_over:
                    assert standing.sounds
                    assert state.sound.pattern == "temporal-four"
            elif name in had_answer and standing.state is AlarmState.NORMAL:
                assert had_answer[name]
    if is_killed and any(at_s > answered_s for at_s in closed_s.values()):
        again, _ = restore(setup, to_plain(state), now, down_s=2.0)
        assert again.sound.pattern == "temporal-four"
