"""An answer holds for the contacts that were closed when it was given, and no others.

Drawn courses of two smoke alarms, another alarm and a door: they close, open, swap in
one tick, their lines are lost and heard again, and the watch is reloaded and killed.
"""

from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Air,
    Event,
    SourceFault,
    SourceOk,
)
from cabinvigil.daemon.core.snapshot import carry_over, restore, to_plain
from tests.core.test_contacts import composed, night

KEYS = {
    "contact_smoke__fore": ("fore", "contact-smoke"),
    "contact_smoke__aft": ("aft", "contact-smoke"),
    "contact_gas": ("locker", "contact-gas"),
}
STALE_S = 5.0
"""A contact's own `max_age_s`."""
QUIET_S = 300.0
LEVEL = st.sampled_from([0.0, 1.0, 1.0])
READING = st.builds(
    Air,
    st.fixed_dictionaries(
        {},
        optional={
            **dict.fromkeys(KEYS, LEVEL),
            "contact_door": st.sampled_from([0.0, 1.0]),
            "co_ppm": st.sampled_from([0.0, 250.0]),
        },
    ),
    st.just(frozenset()),
    st.sampled_from([frozenset(), frozenset(), *(frozenset({key}) for key in KEYS)]),
)
ANSWER = st.builds(
    Act,
    st.just(ActKind.ACKNOWLEDGE),
    st.sampled_from(["", "", *(alarm for _, alarm in KEYS.values())]),
    st.sampled_from(["button", "socket"]),
    age_s=st.sampled_from([0.0, 0.0, 3.0]),
)
FAULT = st.sampled_from(
    [
        *(
            SourceFault(part, "port-missing", "It is gone.")
            for part, _ in KEYS.values()
        ),
        *(SourceOk(part) for part, _ in KEYS.values()),
    ]
)
GAP = st.sampled_from([0.0, 1.0, 1.0, 4.0, 10.0])
BEGIN_ANEW = st.sampled_from(["reload", "kill"])
COURSE = st.lists(
    st.tuples(GAP, st.one_of(READING, READING, ANSWER, ANSWER, FAULT, BEGIN_ANEW)),
    max_size=50,
)


@dataclass
class Seen:
    """What a bystander knows of one contact."""

    value: float | None = None
    at_s: float = -1e9
    is_heard: bool = False
    is_doubtful: bool = False
    news: int = -1
    """The event by which it closed anew, or was lost after it had closed."""

    def hear(self, event: int, value: float, at_s: float, *, is_sure: bool) -> None:
        was_closed = self.value == 1.0
        if value == 1.0 and (not was_closed or (self.is_heard and not is_sure)):
            self.news = event
        self.value, self.at_s, self.is_heard = value, at_s, is_sure

    def lose(self, event: int) -> None:
        if self.value == 1.0 and self.is_heard:
            self.news = event
        self.is_heard = False


@dataclass
class Bystander:
    """What was closed and answered, told apart from the core's own account."""

    contacts: dict[str, Seen] = field(
        default_factory=lambda: {key: Seen() for key in KEYS}
    )
    lost: set[str] = field(default_factory=set)
    answered: dict[str, tuple[int, float]] = field(default_factory=dict)

    def see(self, number: int, event: Event, now: float) -> None:
        if isinstance(event, Act):
            for _, alarm in KEYS.values():
                if event.alarm in ("", alarm):
                    self.answered[alarm] = number, now
        elif isinstance(event, Air):
            for key, seen in self.contacts.items():
                is_sure = key not in event.doubtful and KEYS[key][0] not in self.lost
                if key in event.values:
                    seen.is_doubtful = key in event.doubtful
                    seen.hear(number, event.values[key], now, is_sure=is_sure)
                elif now - seen.at_s > STALE_S:
                    seen.lose(number)
        elif isinstance(event, SourceFault):
            self.lost.add(event.source)
            for key, seen in self.contacts.items():
                if KEYS[key][0] == event.source:
                    seen.lose(number)
        else:
            self._is_back(event.source, now)

    def _is_back(self, part: str, now: float) -> None:
        self.lost.discard(part)
        for key, seen in self.contacts.items():
            if KEYS[key][0] == part and now - seen.at_s <= STALE_S:
                seen.is_heard = not seen.is_doubtful


@pytest.mark.hazard("silenced-by-answer")
@settings(max_examples=250, deadline=None)
@given(COURSE)
def test_an_answer_holds_for_no_contact_that_closed_or_was_lost_since(
    course: list[tuple[float, Event | str]],
) -> None:
    """While one is closed its alarm stands; news of it since the answer sounds."""
    setup = composed("fore:smoke", "aft:smoke", "locker:gas", "hatch:door")
    state, now = start(setup, 0.0), 0.0
    known = Bystander()
    for number, (gap_s, event) in enumerate(course):
        now += gap_s
        if event == "reload":
            state, _ = carry_over(state, setup, now)
        elif event == "kill":
            state, _ = restore(setup, to_plain(state), now, down_s=1.0)
            known = Bystander(answered=known.answered)
        elif not isinstance(event, str):
            state, _ = step(state, event, now)
            known.see(number, event, now)
        for key, seen in known.contacts.items():
            if seen.value != 1.0:
                continue
            standing = state.standings[KEYS[key][1]]
            assert standing.stands
            answer, answered_s = known.answered.get(KEYS[key][1], (-1, -1e9))
            is_over = isinstance(event, Air) and now >= answered_s + QUIET_S
            if seen.news > answer or is_over:
                assert standing.sounds, (key, number)


# --- the cases by name ----------------------------------------------------------------

FORE, AFT = "contact_smoke__fore", "contact_smoke__aft"


def test_two_alarms_that_swap_in_one_tick_end_the_quiet() -> None:
    one = night("fore:smoke", "aft:smoke")
    one.hold({FORE: 1.0, AFT: 0.0}, 10.0, 1.0)
    one.act("ack")
    assert one.state.sound.pattern == "quiet"
    one.air({FORE: 0.0, AFT: 1.0}, 1.0)
    assert one.state.sound.pattern == "temporal-four"
    assert one.standing("contact-smoke").text.startswith("The smoke alarm sounds: aft.")


def test_one_that_opens_unseen_and_closes_again_ends_the_quiet() -> None:
    """The other's line is lost, so that nobody could tell that all rest."""
    one = night("fore:smoke", "aft:smoke")
    one.hold({FORE: 1.0, AFT: 0.0}, 10.0, 1.0)
    one.take(SourceFault("aft", "port-missing", "It is gone."))
    one.hold({FORE: 1.0}, 10.0, 1.0)
    one.act("ack")
    one.hold({FORE: 0.0}, 3.0, 1.0)
    assert one.state.sound.pattern == "quiet"
    one.air({FORE: 1.0}, 1.0)
    assert one.state.sound.pattern == "temporal-four"


def test_a_line_that_is_lost_ends_the_quiet_and_its_return_does_not() -> None:
    one = night("own:smoke")
    one.hold({"contact_smoke": 1.0}, 10.0, 1.0)
    one.act("ack")
    one.take(SourceFault("own", "wire-open", "It is cut."))
    assert one.state.sound.pattern == "temporal-four"
    one.hold({"contact_smoke": 1.0}, 3.0, 1.0)
    one.act("ack")
    one.take(SourceOk("own"))
    one.hold({"contact_smoke": 1.0}, 30.0, 1.0)
    assert one.state.sound.pattern == "quiet"


def test_a_late_answer_is_none_to_a_contact_that_closed_meanwhile() -> None:
    one = night("fore:smoke", "aft:smoke")
    one.hold({FORE: 1.0, AFT: 0.0}, 60.0, 1.0)
    one.air({FORE: 0.0, AFT: 1.0}, 1.0)
    one.hold({FORE: 0.0, AFT: 1.0}, 5.0, 1.0)
    one.take(Act(ActKind.ACKNOWLEDGE, by="phone", age_s=30.0))
    assert one.state.sound.pattern == "temporal-four"


def test_one_that_flickers_leaves_the_answer_to_the_other_what_it_is() -> None:
    """Unanswered it sounds on, and is answered as ever."""
    one = night("fore:smoke", "aft:smoke")
    for second in range(20):
        one.air({FORE: 1.0, AFT: float(second % 2)}, 1.0)
    one.air({FORE: 1.0, AFT: 1.0}, 3.0)
    one.act("ack")
    one.hold({FORE: 1.0, AFT: 1.0}, 60.0, 1.0)
    assert one.state.sound.pattern == "quiet"


def test_a_reload_leaves_the_quiet_what_it_is() -> None:
    """Its contact is known to be the same one, closed all the while."""
    one = night("own:smoke")
    one.hold({"contact_smoke": 1.0}, 10.0, 1.0)
    one.act("ack")
    one.state, _ = carry_over(one.state, one.setup, one.now)
    one.hold({"contact_smoke": 1.0}, 30.0, 1.0)
    assert one.state.sound.pattern == "quiet"
