"""Courses that once broke a clause, each as short as could be: always played.

A few never did, and show that a clause notices a mistake (see `mutants.toml`).
"""

from tests.invariants.course import (
    Ask,
    Course,
    Each,
    PartTurns,
    Press,
    Reload,
    Restart,
    Turn,
    Wait,
)
from tests.invariants.message_counterexamples import MESSAGE_COURSES
from tests.invariants.short_courses import (
    ACKNOWLEDGE,
    AIRED,
    GASES,
    SHUT,
    co,
    course_of,
    o2,
)

COURSES: dict[str, tuple[Course, ...]] = {
    **MESSAGE_COURSES,
    # Oxygen comes back, carbon monoxide at 57 ppm stays: only its `low` stands.
    "a/air": (
        course_of(
            *(GASES, SHUT, o2(19.0), Wait(6), Press(), co(57.0), o2(20.9)),
            Wait(20, 30.0),
        ),
        # All is over and answered: here it is given.
        course_of(GASES, co(80.0), Wait(6), Press(), co(0.5), AIRED, Wait(20, 60.0)),
        # Good for long, and answered just as another gas is bad; nor while a limit's
        # delay runs.
        course_of(
            *(GASES, AIRED, co(400.0), Wait(21, 30.0), Turn("co2_ppm", 15e3), Press()),
            Wait(2, 30.0),
        ),
        course_of(
            *(GASES, co(80.0), Wait(1), Restart(28_800.0), Wait(15, 30.0)),
            *(Turn("co2_ppm", 11e3), Wait(1, 30.0)),
        ),
    ),
    "a/alarm-stands": (
        course_of(
            *(GASES, SHUT, o2(19.0), Wait(6), Press(), co(57.0), o2(20.9)),
            Wait(20, 30.0),
        ),
        # It waits because three texts have gone, and the air gets worse meanwhile.
        course_of(
            *("hut", PartTurns("cell-co", "skewed"), AIRED, o2(17.5), Wait(1, 1.0)),
            *(Each(ACKNOWLEDGE, 18, 30.0), co(80.0), Wait(2, 60.0)),
        ),
    ),
    # Nobody has acknowledged, the air is good: the sound goes on after the all-clear.
    "a/sounding": (
        course_of(GASES, co(400.0), Wait(6), co(0.5), AIRED, Wait(20, 30.0)),
    ),
    # The oxygen part stands still all the while.
    "a/unseen": (
        course_of(
            *(GASES, PartTurns("bunk-o2", "frozen"), co(80.0), Wait(3), Press()),
            *(co(0.5), AIRED, Wait(20, 30.0)),
        ),
        # It is acknowledged too, and stands still.
        course_of(
            *(GASES, PartTurns("bunk-o2", "frozen"), co(80.0), Wait(3), Press()),
            *(co(0.5), AIRED, Wait(14, 30.0), Press(), Wait(30, 30.0)),
        ),
    ),
    "b/rings": (course_of(GASES, co(400.0), Wait(6)),),
    "b/silence": (course_of(GASES, SHUT, o2(17.5), Wait(3), Press(), Wait(70)),),
    "b/put-aside": (
        course_of(
            GASES, Ask("shelve", "co-level", for_s=3600.0), SHUT, co(150.0), Wait(6)
        ),
    ),
    "b/chatter": (
        course_of(GASES, o2(17.5), SHUT, Each(Press(), 60, 6.0)),
        course_of(GASES, co(700.0), SHUT, Each(Press(), 60, 6.0)),
        course_of(GASES, co(150.0), Each(Press(), 60, 6.0)),
        # A phone had answered it before: that answer stays one.
        course_of(
            *(GASES, o2(17.5), Wait(3, 5.0), Ask("reset")),
            Each(Press(), 40, 2.0),
        ),
    ),
    "b/loose-config": (
        course_of("co-outside", co(400.0), Wait(9)),
        course_of("o2-left-out", o2(17.5), Wait(9)),
    ),
    "c/silent": (
        course_of(GASES, Wait(12, 30.0), PartTurns("bunk-co", "silent"), Wait(20)),
    ),
    "c/silent-from-start": (
        course_of("two-cells", PartTurns("cell-o2", "silent"), Wait(12, 30.0)),
    ),
    "c/frozen": (
        course_of(GASES, PartTurns("bunk-o2", "frozen"), Wait(33, 30.0)),
        course_of(
            *(GASES, SHUT, co(29.0), Wait(12), PartTurns("bunk-co", "frozen")),
            Wait(33, 30.0),
        ),
    ),
    "c/doubtful": (
        course_of(GASES, PartTurns("bunk-co", "doubtful"), Wait(33, 30.0)),
        # Readings a minute apart, and one of them comes a second late.
        course_of(
            *(GASES, PartTurns("bunk-co", "doubtful"), Wait(8, 60.0), Press()),
            Wait(10, 60.0),
        ),
    ),
    "c/loose-config": (
        course_of("old-values", PartTurns("bunk-co", "silent"), Wait(33, 30.0)),
    ),
    "e/down": (
        course_of(GASES, co(700.0), Wait(3, 60.0), Restart(7200.0)),
        # The last that was said is clean, and long ago, or in doubt.
        *(
            course_of(
                *(GASES, co(700.0), Wait(10, 60.0), co(0.5), AIRED, Wait(3, 60.0)),
                *(PartTurns("bunk-co", mode), Wait(3, tick_s), Restart(7200.0)),
            )
            for mode, tick_s in (
                ("silent", 30.0),
                ("doubtful", 30.0),
                ("doubtful", 5.0),
            )
        ),
    ),
    "e/doubtful": (
        course_of(
            *(GASES, co(700.0), Wait(3, 60.0), PartTurns("bunk-co", "doubtful")),
            *(co(0.5), Wait(20, 30.0)),
        ),
    ),
    "e/silent": (
        course_of(
            *(GASES, co(700.0), Wait(3, 60.0), co(0.5), AIRED, Wait(30)),
            *(PartTurns("bunk-co", "silent"), Wait(20, 30.0)),
        ),
    ),
    # It latches, and nobody is there.
    "f/by-time": (
        course_of(GASES, co(400.0), Wait(3), co(0.5), AIRED, Wait(20, 30.0)),
    ),
    # The part that could end it is in the config no more.
    "f/endless": (
        course_of(GASES, o2(19.0), Wait(3), Reload("co-alone"), ends=True),
        # Nothing gives the carbon dioxide any more by which it could clear.
        course_of(
            *("trailer", Wait(6), o2(17.5), Wait(8, 30.0), Reload(GASES)),
            trend="real",
            ends=True,
        ),
        # One part cannot be so, and the other repeats a value now and then.
        course_of(
            *("hut", PartTurns("cell-o2", "skewed"), Wait(4), Reload("ceiling")),
            Wait(2, 60.0),
            noise=1,
            ends=True,
        ),
        # A cell that is off, as its maker allows, is off in its partial pressure too.
        course_of("two-cells", PartTurns("cell-o2", "skewed"), ends=True),
        # High up, in damp air, by a cell that is off as its maker allows.
        course_of(
            *("hut", PartTurns("bunk-o2", "skewed"), Turn("burner_kw", 12.0)),
            Wait(14, 60.0),
            ends=True,
        ),
        # What nothing quiets, and then nothing measures.
        course_of(GASES, co(700.0), Wait(1, 60.0), Reload("o2-alone"), ends=True),
    ),
    "f/sounds-on": (
        course_of(GASES, co(700.0), Wait(1, 60.0), Reload("o2-alone"), ends=True),
        course_of(GASES, o2(17.5), Wait(6), o2(20.9), ends=True),
    ),
    "i/shelved": (
        course_of(GASES, co(150.0), Wait(6), Ask("shelve", "co-level", for_s=3600.0)),
    ),
    "i/beforehand": (
        course_of(GASES, Ask("shelve", "o2-low", for_s=3600.0)),
        course_of(GASES, Ask("shelve", "sensor-stale/o2_pct", for_s=3600.0)),
    ),
    "i/again": (
        course_of(GASES, SHUT, o2(17.5), Wait(3), Each(ACKNOWLEDGE, 16, 60.0)),
        # It was gone for two minutes, which nobody answered: it stands anew.
        course_of(
            *(GASES, o2(19.0), Each(ACKNOWLEDGE, 11, 60.0)),
            *(o2(19.0), Each(ACKNOWLEDGE, 2, 60.0)),
        ),
        # The second time by hand: on the machine's own socket.
        course_of(
            *(GASES, o2(19.0), Each(ACKNOWLEDGE, 3, 30.0), Turn("burner_kw", 5.0)),
            *(Wait(6, 60.0), Ask("reset", by="socket")),
        ),
    ),
    "i/put-off": (
        course_of(GASES, SHUT, o2(17.5), Wait(3), Each(ACKNOWLEDGE, 20, 60.0)),
    ),
    # It comes back while it waits for an answer.
    "j/exception": (
        course_of(
            *(GASES, co(150.0), Wait(6), co(0.5), AIRED, Wait(20), co(150.0)),
            Wait(6),
        ),
        course_of(GASES, co(0.0), Wait(3)),
    ),
    "j/trend": (course_of(GASES, Wait(1), trend="broken"),),
    "l/acknowledged": (course_of(GASES, o2(17.5), Wait(6), Press()),),
    # Acknowledged in good air, and it rises anew within the alarm's off-delay.
    "l/before": (
        # Asked before it rose again, and come after.
        course_of(
            *("strict", Turn("co2_ppm", 15_000.0), Wait(19, 30.0)),
            *(Turn("co2_ppm", 15_000.0), Wait(2), Ask("acknowledge", age_s=15.0)),
            Wait(3, 30.0),
        ),
        # What only a doubtful part saw as over stood, and was answered as that.
        course_of(
            *(GASES, PartTurns("bunk-o2", "doubtful"), Wait(1, 30.0), AIRED),
            *(o2(17.5), Wait(4, 30.0), Press(), o2(17.5), Wait(3), o2(17.5)),
            Wait(1, 60.0),
        ),
        # Answered right after a restart, before anything was measured: it had sunk.
        course_of(
            *(GASES, co(150.0), Wait(13, 60.0), Restart(2.0), Press()),
            *(co(80.0), Wait(6)),
        ),
        course_of(
            *("hut", co(700.0), Wait(1), co(0.5), Wait(3), Press(), co(400.0)),
            Wait(6),
        ),
        course_of(
            *("van", o2(17.5), Wait(3), o2(20.9), Wait(3), Press(), o2(17.5)),
            Wait(6),
        ),
        # It was over, and is back within the time that the answer bought.
        course_of(
            *("van", o2(17.5), Wait(3), Press(), o2(20.9), Wait(12), o2(17.5)),
            Wait(6),
        ),
    ),
    "l/late": (
        course_of(
            *(GASES, co(400.0), Wait(3), Ask("acknowledge", age_s=110.0), Wait(3)),
        ),
        course_of(
            *(GASES, co(400.0), Wait(3)),
            *(Ask("acknowledge", age_s=3600.0, says_when=False), Wait(3)),
        ),
        # So late that it came through, and not so late that it was refused.
        course_of(
            *(
                GASES,
                Wait(3),
                o2(17.5),
                Wait(3),
                Wait(1, 5.0),
                Ask("acknowledge", age_s=29.0),
            ),
            Wait(3),
        ),
    ),
    "l/too-soon": tuple(
        course_of(GASES, SHUT, air, Wait(1), Press(0.2), Wait(6))
        for air in (co(700.0), co(250.0), o2(17.5))
    ),
    "m/end-of-range": (
        course_of("trailer", Turn("co2_ppm", 60e3), Wait(2), Wait(12, 30.0)),
        course_of("trailer", Turn("co2_ppm", 60e3), SHUT, Wait(90, 30.0)),
    ),
    # A slow tick, and something else happens between two of them.
    "m/nobody-woken": (
        course_of(GASES, Wait(1, 10.0), Press(9.0)),
        # At 2 500 m, where a short doubt let the height wake people.
        course_of("hut", Wait(30, 60.0), noise=2, ends=True),
        # With a reading a minute, some in a row are the same.
        course_of("strict", Wait(20, 2.0), ends=True),
    ),
    # Two parts as far apart as makers allow, and one of them is away for a while.
    "m/no-other-gas": (
        course_of(
            *("hut", PartTurns("cell-o2", "skewed"), Wait(30)),
            *(PartTurns("cell-o2", "silent"), Wait(12)),
            *(PartTurns("cell-o2", "alive"), Wait(40)),
            trend="real",
        ),
    ),
}
"""By the clause that each broke when it was found, or breaks with a planted mistake."""
