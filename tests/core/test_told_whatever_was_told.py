"""No limit on texts keeps a danger of a new kind, or a certified alarm, from a phone.

Drawn courses with many alarms in ten minutes: gases that rise and fall, contacts that
close, open and flicker, and answers by the button, the socket and a phone.
"""

from collections import Counter

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import Act, ActKind, Air, Alert, Event, Priority
from cabinvigil.daemon.core.notification import FORECASTS, TEXTS, WINDOW_S
from cabinvigil.daemon.core.setup import Setup
from tests.core.scenario import Night
from tests.core.test_contacts import composed

GASES = """
[part.bunk-o2]
kind = "o2_optical_line"
port = "/dev/serial/by-path/y"
[part.bunk-co2]
kind = "frame9_co2"
port = "/dev/serial/by-path/z"
"""
WORDS = ("contact-smoke", "contact-gas")
READING = st.builds(
    Air,
    st.fixed_dictionaries(
        {},
        optional={
            "contact_smoke__fore": st.sampled_from([0.0, 1.0]),
            "contact_smoke__aft": st.sampled_from([0.0, 0.0, 1.0]),
            "contact_gas": st.sampled_from([0.0, 0.0, 1.0]),
            "co_ppm": st.sampled_from([0.0, 80.0, 250.0]),
            "co2_ppm": st.sampled_from([600.0, 12_000.0, 35_000.0]),
            "o2_pct": st.sampled_from([20.6, 19.2, 17.0]),
        },
    ),
)
ANSWER = st.builds(
    Act,
    st.just(ActKind.ACKNOWLEDGE),
    st.just(""),
    st.sampled_from(["button", "socket", "phone"]),
)
COURSE = st.lists(
    st.tuples(
        st.sampled_from([1.0, 4.0, 11.0, 60.0]), st.one_of(READING, READING, ANSWER)
    ),
    max_size=40,
)


def cabin() -> Setup:
    return composed("fore:smoke", "aft:smoke", "locker:gas", more=GASES)


def told(one: Night, since: int) -> dict[str, Priority]:
    """What the first phone was told by the commands since."""
    return {
        command.alarm: command.priority
        for _, command in one.said[since:]
        if isinstance(command, Alert) and command.escalation == 0
    }


@pytest.mark.hazard("flooding")
@settings(max_examples=200, deadline=None)
@given(COURSE)
def test_a_danger_of_a_new_kind_or_of_a_certified_alarm_waits_behind_no_limit(
    course: list[tuple[float, Event]],
) -> None:
    """Told with the very step by which it begins to sound, or breaks a quiet.

    But for a forecast of what its limit has told by then.
    """
    one = Night(cabin())
    forecasts = {spec.id for spec in one.setup.alarms if spec.kind in FORECASTS}
    dangers: set[str] = set()
    for gap_s, event in course:
        before, since = one.state.standings, len(one.said)
        one.take(event, gap_s)
        texts = told(one, since)
        for alarm, standing in one.state.standings.items():
            if not (standing.sounds and standing.priority is Priority.HIGH):
                continue
            is_new = alarm not in dangers | forecasts
            dangers.add(alarm)
            is_word = alarm in WORDS and not before[alarm].sounds
            if is_new or is_word:
                assert texts.get(alarm) is Priority.HIGH


@pytest.mark.hazard("flooding")
@settings(max_examples=100, deadline=None)
@given(
    st.lists(st.tuples(st.booleans(), st.booleans()), max_size=60),
    st.sampled_from([1.0, 12.0, 25.0]),
)
@example([(True, False), (False, False), (False, False)] * 16, 12.0)
def test_an_alarm_that_comes_and_goes_unanswered_floods_no_phone(
    levels: list[tuple[bool, bool]], gap_s: float
) -> None:
    """It sounds all the while: what nobody has answered is no news each time."""
    one = Night(cabin())
    for fore, aft in levels:
        values = {"contact_smoke__fore": float(fore), "contact_smoke__aft": float(aft)}
        one.take(Air(values), gap_s)
    moments = [at for at, alert in one.alerts() if alert.escalation < 2]
    windows = Counter(
        sum(at - WINDOW_S < other <= at for other in moments) for at in moments
    )
    # Three, and one more for each contact that joins in.
    assert max(windows, default=0) <= TEXTS + 2


def test_a_fourth_danger_within_ten_minutes_is_told_at_once() -> None:
    """The smoke alarm again, after each answer: nobody waits ten minutes for it."""
    one = Night(cabin())
    key = "contact_smoke__fore"
    rest = {"contact_smoke__aft": 0.0, "contact_gas": 0.0, "co_ppm": 0.0}
    for count in range(1, 7):
        one.hold({**rest, key: 0.0}, 5.0, 1.0)
        since = len(one.said)
        one.air({**rest, key: 1.0}, 1.0)
        assert told(one, since) == {"contact-smoke": Priority.HIGH}, count
        one.hold({**rest, key: 1.0}, 20.0, 1.0)
        one.act("ack")
    assert one.now < WINDOW_S
