"""What holds of a trial whatever happens in it: drawn courses, no example."""

from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import Act, ActKind, Alert, Record, Sound, Transition
from cabinvigil.daemon.core.snapshot import carry_over, restore, to_plain
from tests.core.scenario import Night, cabin, co_level, o2_low

AIRS = (
    {"co_ppm": 0.0, "o2_pct": 20.9},
    {"co_ppm": 0.0, "o2_pct": 19.2},
    {"co_ppm": 120.0, "o2_pct": 20.5},
    {"co_ppm": 400.0, "o2_pct": 17.5},
    {"o2_pct": 20.4},
    {},
)
WORDS = ("begin", "begin until", "end", "press", "phone", "restart", "reload")
COURSES = st.lists(
    st.tuples(
        st.sampled_from(range(len(AIRS))),
        st.integers(1, 40),
        st.sampled_from(("", *WORDS)),
    ),
    max_size=14,
)
TICK_S = 30.0


def do(night: Night, word: str) -> None:
    if word.startswith("begin"):
        until = "o2-low" if word.endswith("until") else ""
        night.take(Act(ActKind.TRIAL, until, "socket", "vent", 3600.0), 1.0)
    elif word == "end":
        night.take(Act(ActKind.TRIAL_END, by="socket"), 1.0)
    elif word in ("press", "phone"):
        night.act("ack", by="button" if word == "press" else "phone")
    elif word == "restart":
        plain = to_plain(night.state)
        night.state, _ = restore(night.setup, plain, night.now, down_s=5.0)
    elif word == "reload":
        night.state, _ = carry_over(night.state, night.setup, night.now)


def played(course: list[tuple[int, int, str]], *, trials: bool = True) -> Night:
    night = Night(cabin(co_level(), o2_low(), keys=["co_ppm", "o2_pct"]))
    night.hold(AIRS[0], 120.0, TICK_S)
    for air, ticks, word in course:
        if trials or not word.startswith(("begin", "end")):
            do(night, word)
        night.hold(AIRS[air], ticks * TICK_S, TICK_S)
    return night


@settings(max_examples=120, deadline=None, derandomize=True)
@given(COURSES)
def test_nothing_goes_to_the_second_phone_and_each_text_says_that_it_is_one(
    course: list[tuple[int, int, str]],
) -> None:
    is_open = False
    for _, one in played(course).said:
        if isinstance(one, Record) and one.event == "trial":
            assert (one.fields["state"] == "begun") != is_open, "they take turns"
            is_open = not is_open
        elif isinstance(one, Alert):
            assert one.text.startswith("trial ") == is_open
            assert not (is_open and one.escalation == 2)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(COURSES.filter(lambda course: any(word == "begin" for _, _, word in course)))
def test_an_open_trial_changes_neither_the_sound_nor_the_log(
    course: list[tuple[int, int, str]],
) -> None:
    """Until its end: whoever opens the door hears what a sleeper would."""
    quiet = [(air, ticks, word) for air, ticks, word in course if word != "end"]
    quiet = [one for one in quiet if one[2] not in ("press", "restart", "begin until")]
    quiet = [(air, min(ticks, 12), word) for air, ticks, word in quiet][:10]
    with_it, without = played(quiet), played(quiet, trials=False)
    ended_s = [
        at
        for at, one in with_it.said
        if isinstance(one, Record) and one.fields.get("why")
    ]

    def heard(night: Night) -> list[object]:
        said = []
        for at, one in night.said:
            if isinstance(one, Sound):
                said.append((round(at / TICK_S), one))
            elif isinstance(one, Transition):
                said.append((round(at / TICK_S), one.alarm, one.state, one.priority))
        return said

    if not ended_s:
        assert heard(with_it) == heard(without)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(COURSES, st.sampled_from(("end", "press", "restart", "wait")))
def test_a_danger_that_outlasts_it_is_told_to_both_phones(
    course: list[tuple[int, int, str]], how: str
) -> None:
    """At once to the first, and after five minutes unanswered to the second."""
    night = played([*course, (0, 80, "press"), (0, 80, "press"), (0, 1, "begin")])
    if night.state.trial is None:
        return
    night.hold(AIRS[3], 300.0, TICK_S)
    do(night, how)
    if how == "wait":
        night.hold(AIRS[3], 3600.0, TICK_S)
    (*_, ended_s) = [
        at for at, one in night.said if isinstance(one, Record) and "why" in one.fields
    ] or [night.now]
    night.hold(AIRS[3], 420.0, TICK_S)
    assert night.state.trial is None
    told = [(at - ended_s, one) for at, one in night.alerts() if at >= ended_s]
    wakes = [(at, one) for at, one in told if one.alarm in ("o2-low", "co-level")]
    assert min(at for at, one in wakes if one.escalation < 2) <= 2.0 * TICK_S
    assert min(at for at, one in wakes if one.escalation == 2) <= 300.0 + 2.0 * TICK_S
