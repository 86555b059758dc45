"""How hypothesis draws a course: from short motifs of what may happen in one night."""

from collections.abc import Callable

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from tests.invariants.cabins import LOOSE, SOUND
from tests.invariants.course import (
    GOOD_AIR,
    Ask,
    Course,
    Each,
    Fork,
    Odd,
    PartTurns,
    Press,
    Reload,
    Restart,
    SourceSays,
    Step,
    Turn,
    Wait,
)
from tests.invariants.parts import PARTS

Steps = tuple[Step, ...]


def _turn(knob: str, *values: float) -> st.SearchStrategy[Turn]:
    return st.builds(Turn, st.just(knob), st.sampled_from(values))


def _wait(
    ticks: tuple[int, ...], ticks_s: tuple[float, ...]
) -> st.SearchStrategy[Wait]:
    return st.builds(Wait, st.sampled_from(ticks), st.sampled_from(ticks_s))


# The first of each list is what hypothesis shrinks to.
WAITS = _wait((1, 2, 3, 4, 6, 10, 20, 30), (10.0, 30.0, 60.0, 1.0, 2.0, 5.0))
LONG = _wait((10, 15, 20, 31, 40), (30.0, 60.0))
SOON = _wait((1, 2, 3, 4, 5, 6), (10.0, 1.0, 5.0, 60.0))
GAS_PARTS = ("bunk-o2", "bunk-co", "cell-o2", "cell-co", "bunk-co2")
ALARMS = (
    *("co-level", "o2-low", "co2-level", "co-dose", "o2-projected", "displaced-air"),
    *("sensor-stale/o2_pct", "sensor-stale/co_ppm", "sensor-fault/bunk-co"),
    *("sensor-stuck/o2_pct", "no-such-alarm"),
)
CO_IS = _turn("co_ppm", 80.0, 0.5, 15.0, 40.0, 60.0, 250.0, 400.0, 700.0)
O2_IS = _turn("o2_dry_pct", 19.2, 20.9, 19.9, 18.6, 17.5, 20.3)
VENT = _turn("changes_per_h", 0.2, 40.0, 1.0, 8.0, 200.0)
AIR = st.one_of(
    *(CO_IS, CO_IS, O2_IS, O2_IS, VENT, VENT),
    _turn("co2_ppm", 11_000.0, 900.0, 6_000.0, 33_000.0, 60_000.0),
    _turn("burner_kw", 2.0, 0.8, 5.0, 0.0, 12.0),
    _turn("people", 2.0, 0.0, 6.0),
    _turn("co_ppm_per_min", 20.0, 0.0, 5.0, 200.0),
    _turn("gas_pct_per_min", 0.5, 0.0, 0.1),
    _turn("temp_c", -18.0, 14.0, 30.0),
    _turn("outside_c", -35.0, 0.0, 15.0),
    _turn("weather_hpa", -25.0, 0.0, 20.0),
)
MODE = st.sampled_from(
    (
        *("silent", "alive", "frozen", "frozen", "reported"),
        *("doubtful", "skewed", "offset", "swapped"),
    )
)
PART = st.builds(PartTurns, st.sampled_from((*GAS_PARTS, *GAS_PARTS, *PARTS)), MODE)
PRESS = st.builds(Press, st.sampled_from([0.9, 20.0, 0.2, 0.0, 5.0]))
CHATTER = st.builds(
    Each, st.just(Press()), st.sampled_from([8, 50]), st.sampled_from([6.0, 2.0])
)
ALARM = st.sampled_from(ALARMS)
PESTER = st.builds(
    Each,
    st.builds(Ask, st.just("acknowledge"), st.just(""), st.just("phone")),
    st.sampled_from([4, 20]),
    st.sampled_from([60.0, 30.0]),
)
AGE = st.sampled_from([0.0, 0.0, 15.0, 60.0, 110.0, 1800.0])


def _ask(verb: str, alarm: str, by: str, age_s: float, says_when: bool) -> Ask:
    """Nothing keeps what is asked on the machine's own socket: it has no way to go."""
    is_at_once = by == "socket" and not says_when
    return Ask(verb, alarm, by, 0.0, 0.0 if is_at_once else age_s, says_when)


ACKNOWLEDGE = st.builds(
    _ask,
    st.sampled_from(["acknowledge", "acknowledge", "reset"]),
    st.one_of(st.just(""), ALARM),
    st.sampled_from(["phone", "phone", "socket"]),
    AGE,
    st.booleans(),
)
SHELVE = st.builds(
    Ask,
    st.sampled_from(
        (*["shelve"] * 3, "unshelve", "out-of-service", "return-to-service")
    ),
    ALARM,
    st.sampled_from(["phone", "socket"]),
    st.sampled_from([3600.0, 60.0, 86_400.0]),
)
OTHER = st.one_of(
    st.builds(Ask, st.sampled_from(["test", "mark", "status"])),
    st.builds(
        Ask,
        st.sampled_from(["bump-test", "bump-test", "bump-end"]),
        st.just(""),
        st.sampled_from(["socket", "socket", "phone"]),
    ),
)
ACT = st.one_of(PRESS, PRESS, ACKNOWLEDGE, ACKNOWLEDGE, SHELVE, OTHER)
SOURCE = st.builds(
    SourceSays,
    st.sampled_from(["log", "mqtt", "bunk-co", "bunk-o2", "clock", "main", "nobody"]),
    st.sampled_from(["not-writable", "ok", "absent", "checksum", "late"]),
)
RELOAD = st.builds(Reload, st.sampled_from(SOUND))
RESTART = st.builds(
    Restart, st.sampled_from([2.0, 30.0, 400.0, 7200.0, 28_800.0]), st.booleans()
)
ODD = st.builds(
    Odd,
    st.sampled_from([float("nan"), float("inf"), -1e9, 1e300]),
    st.sampled_from(["o2_pct", "co_ppm", "no_such_key", "temp_c", "pressure_hpa"]),
)


def _all(*parts: st.SearchStrategy[Step]) -> st.SearchStrategy[Steps]:
    return st.tuples(*parts)


DANGER = st.one_of(
    _turn("co_ppm", 400.0, 80.0, 150.0, 700.0),
    _turn("o2_dry_pct", 19.0, 17.5),
    _turn("co2_ppm", 40_000.0, 15_000.0),
)
BETTER = st.sampled_from(
    [Turn("co_ppm", 0.5), Turn("o2_dry_pct", 20.9), Turn("co2_ppm", 900.0)]
)
CO_PPM = st.sampled_from([400.0, 80.0, 150.0, 250.0, 700.0])


def _rises_again(
    first_ppm: float, soon: Wait, ticks: int, then_ppm: float, after: Wait
) -> Steps:
    """Acknowledged when the air was already good, and then it rises anew."""
    return (
        *(Turn("co_ppm", first_ppm), soon, Turn("co_ppm", 0.5), Wait(ticks, 10.0)),
        *(Press(), Turn("co_ppm", then_ppm), after),
    )


def _away(part: str, ticks: int) -> Steps:
    """A part drops out for a while, and comes back."""
    gone, back = PartTurns(part, "silent"), PartTurns(part, "alive")
    return (Wait(25), gone, Wait(ticks), back, Wait(25))


GOOD_AGAIN: Steps = tuple(Turn(*knob) for knob in GOOD_AIR.items())
AIRED: Steps = (*GOOD_AGAIN, Wait(20, 30.0), Press(), Wait(20, 30.0))
MOTIFS: st.SearchStrategy[Steps] = st.one_of(
    _all(AIR, WAITS),
    _all(AIR, WAITS),
    _all(AIR, AIR, WAITS, ACT, WAITS),
    _all(AIR, WAITS, ACT, AIR, WAITS),
    _all(PART, WAITS),
    _all(PART, LONG),
    _all(AIR, WAITS, PART, LONG),
    _all(ACT, WAITS),
    _all(ACT, WAITS, ACT, WAITS, ACT),
    _all(AIR, LONG),
    _all(SOURCE, WAITS, SOURCE),
    _all(DANGER, SOON, ACT, SOON),
    _all(DANGER, SOON, BETTER, SOON, ACT, DANGER, SOON),
    st.builds(_rises_again, CO_PPM, SOON, st.integers(4, 9), CO_PPM, SOON),
    _all(DANGER, SOON, RELOAD, SOON),
    _all(DANGER, SOON, RESTART, LONG),
    _all(DANGER, SOON, SHELVE, SOON),
    _all(SHELVE, DANGER, LONG),
    _all(DANGER, SOON, PART, LONG),
    st.builds(_away, st.sampled_from(GAS_PARTS), st.sampled_from([12, 3, 40])),
    _all(DANGER, SOON, PESTER),
    _all(DANGER, SOON, CHATTER, CHATTER),
    _all(DANGER, LONG),
    _all(RELOAD, WAITS),
    _all(RESTART, WAITS),
    _all(st.just(Fork()), WAITS),
    _all(ODD),
    st.just(AIRED),
    st.just(GOOD_AGAIN),
)


def _flat(motifs: list[Steps]) -> Steps:
    return tuple(step for motif in motifs for step in motif)


SKEW: st.SearchStrategy[Steps] = st.sampled_from(
    [(), (), (), (PartTurns("cell-o2", "skewed"),), (PartTurns("cell-co", "skewed"),)]
)
STEPS = st.tuples(SKEW, st.lists(MOTIFS, min_size=1, max_size=8)).map(
    lambda drawn: drawn[0] + _flat(drawn[1])
)
CABIN = st.one_of(st.sampled_from(SOUND), st.sampled_from((*SOUND, *LOOSE)))


def courses() -> st.SearchStrategy[Course]:
    """Draw courses: one in eight with the trend, few that end, replay, or break it."""
    return st.builds(
        Course,
        CABIN,
        STEPS,
        st.sampled_from([*[""] * 35, *["real"] * 5, "broken"]),
        st.integers(0, 3),
        st.integers(0, 9).map(lambda n: n == 9),
        st.integers(0, 15).map(lambda n: n == 15),
    )


def draw(take: Callable[[Course], None], count: int, number: str) -> None:
    """Hand over so many courses, drawn from one seed."""

    @seed(number)
    @settings(
        max_examples=count,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(courses())
    def each(course: Course) -> None:
        take(course)

    each()
