"""Courses that once broke a clause, each as short as could be: always played."""

from tests.invariants.course import (
    Ask,
    Course,
    Each,
    Fork,
    PartTurns,
    Press,
    Reload,
    Restart,
    SourceSays,
    Step,
    Turn,
    Wait,
)

GASES = "two-gases"
ACKNOWLEDGE = Ask("acknowledge")


def _course(cabin: str, *steps: Step, trend: str = "", ends: bool = False) -> Course:
    return Course(cabin, steps, trend, ends=ends)


def _co(ppm: float) -> Turn:
    return Turn("co_ppm", ppm)


def _o2(pct: float) -> Turn:
    return Turn("o2_dry_pct", pct)


SHUT = Turn("changes_per_h", 0.2)
AIRED = Turn("changes_per_h", 60.0)

COURSES: dict[str, tuple[Course, ...]] = {
    # Oxygen comes back, carbon monoxide at 57 ppm stays: only its `low` stands.
    "a/air": (
        _course(
            *(GASES, SHUT, _o2(19.0), Wait(6), Press(), _co(57.0), _o2(20.9)),
            Wait(20, 30.0),
        ),
        # All is over and answered: here it is given.
        _course(GASES, _co(80.0), Wait(6), Press(), _co(0.5), AIRED, Wait(20, 60.0)),
    ),
    "a/alarm-stands": (
        _course(
            *(GASES, SHUT, _o2(19.0), Wait(6), Press(), _co(57.0), _o2(20.9)),
            Wait(20, 30.0),
        ),
    ),
    # Nobody has acknowledged, the air is good: the sound goes on after the all-clear.
    "a/sounding": (
        _course(GASES, _co(400.0), Wait(6), _co(0.5), AIRED, Wait(20, 30.0)),
    ),
    # The oxygen part stands still all the while.
    "a/unseen": (
        _course(
            *(GASES, PartTurns("bunk-o2", "frozen"), _co(80.0), Wait(3), Press()),
            *(_co(0.5), AIRED, Wait(20, 30.0)),
        ),
    ),
    "b/put-aside": (
        _course(
            GASES, Ask("shelve", "co-level", for_s=3600.0), SHUT, _co(150.0), Wait(6)
        ),
    ),
    "b/chatter": (
        _course(GASES, _o2(17.5), SHUT, Each(Press(), 60, 6.0)),
        _course(GASES, _co(700.0), SHUT, Each(Press(), 60, 6.0)),
    ),
    "b/loose-config": (
        _course("co-outside", _co(400.0), Wait(9)),
        _course("o2-left-out", _o2(17.5), Wait(9)),
    ),
    "c/silent-from-start": (
        _course("two-cells", PartTurns("cell-o2", "silent"), Wait(12, 30.0)),
    ),
    "c/frozen": (
        _course(GASES, PartTurns("bunk-o2", "frozen"), Wait(33, 30.0)),
        _course(
            *(GASES, SHUT, _co(29.0), Wait(12), PartTurns("bunk-co", "frozen")),
            Wait(33, 30.0),
        ),
    ),
    "c/doubtful": (_course(GASES, PartTurns("bunk-co", "doubtful"), Wait(33, 30.0)),),
    "c/loose-config": (
        _course("old-values", PartTurns("bunk-co", "silent"), Wait(33, 30.0)),
    ),
    "d/again": (_course(GASES, SHUT, _co(400.0), Wait(60, 30.0)),),
    "d/both": (
        _course(GASES, SHUT, _co(250.0), Wait(14, 30.0), _co(500.0), Wait(2, 30.0)),
        # Sent to both as `medium`, and to one alone when it becomes `high`.
        _course(GASES, SHUT, _co(150.0), Wait(14, 30.0), _co(400.0), Wait(2, 30.0)),
    ),
    "d/second": (_course(GASES, _co(80.0), Wait(11, 30.0), _co(400.0), Wait(8, 60.0)),),
    "d/softer": (
        _course(GASES, _co(400.0), Wait(6, 30.0)),
        _course("co-alone", SHUT, _co(400.0), Wait(3), Turn("temp_c", -5.0), Wait(60)),
    ),
    "e/down": (_course(GASES, _co(700.0), Wait(3, 60.0), Restart(7200.0)),),
    "e/doubtful": (
        _course(
            *(GASES, _co(700.0), Wait(3, 60.0), PartTurns("bunk-co", "doubtful")),
            *(_co(0.5), Wait(20, 30.0)),
        ),
    ),
    # The part that could end it is in the config no more.
    "f/endless": (_course(GASES, _o2(19.0), Wait(3), Reload("co-alone"), ends=True),),
    "g/crowd": (
        _course(GASES, _co(400.0), Wait(1), Restart(2.0), Wait(4, 30.0)),
        _course("trailer", Turn("burner_kw", 5.0), SHUT, Wait(60, 30.0), trend="real"),
    ),
    # What counts towards an on-delay, or a rate, is not kept.
    "h/later": (_course("hut", Turn("co2_ppm", 15e3), Wait(1, 5.0), Fork(), Wait(3)),),
    "h/louder": (
        _course(
            *(
                GASES,
                _co(700.0),
                AIRED,
                Wait(3, 60.0),
                ACKNOWLEDGE,
                Reload("two-cells"),
            ),
            *(Wait(1, 1.0), Fork()),
        ),
    ),
    "i/shelved": (
        _course(GASES, _co(150.0), Wait(6), Ask("shelve", "co-level", for_s=3600.0)),
    ),
    "i/beforehand": (
        _course(GASES, Ask("shelve", "o2-low", for_s=3600.0)),
        _course(GASES, Ask("shelve", "sensor-stale/o2_pct", for_s=3600.0)),
    ),
    "i/again": (_course(GASES, SHUT, _o2(17.5), Wait(3), Each(ACKNOWLEDGE, 16, 60.0)),),
    "i/put-off": (
        _course(GASES, SHUT, _o2(17.5), Wait(3), Each(ACKNOWLEDGE, 20, 60.0)),
    ),
    "j/trend": (_course(GASES, Wait(1), trend="broken"),),
    # Acknowledged in good air, and it rises anew within the alarm's off-delay.
    "l/before": (
        _course(
            *("hut", _co(700.0), Wait(1), _co(0.5), Wait(3), Press(), _co(400.0)),
            Wait(6),
        ),
    ),
    "l/late": (
        _course(
            *(GASES, _co(400.0), Wait(3), Ask("acknowledge", age_s=110.0), Wait(3)),
        ),
        _course(
            *(GASES, _co(400.0), Wait(3)),
            *(Ask("acknowledge", age_s=3600.0, says_when=False), Wait(3)),
        ),
    ),
    "l/too-soon": (_course(GASES, _co(700.0), Wait(1), Press(0.2), Wait(6)),),
    "m/end-of-range": (
        _course("trailer", Turn("co2_ppm", 60e3), Wait(2), Wait(12, 30.0)),
    ),
    # A slow tick, and something else happens between two of them.
    "m/nobody-woken": (_course(GASES, Wait(1, 10.0), Press(9.0)),),
    # Two parts as far apart as makers allow, and one of them is away for a while.
    "m/no-other-gas": (
        _course(
            *("hut", PartTurns("cell-o2", "skewed"), Wait(30)),
            *(PartTurns("cell-o2", "silent"), Wait(12)),
            *(PartTurns("cell-o2", "alive"), Wait(40)),
            trend="real",
        ),
    ),
    "n/other-fault": (
        _course(GASES, SourceSays("bunk-o2", "absent"), SourceSays("bunk-o2", "late")),
    ),
    "q/test": (_course(GASES, Ask("test"), Wait(3), Ask("test")),),
}
"""By the clause that each broke when it was found."""
