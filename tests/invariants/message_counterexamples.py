"""Courses that once broke a clause on messages, sounds, restarts or faults."""

from tests.invariants.course import (
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
    Turn,
    Wait,
)
from tests.invariants.short_courses import (
    ACKNOWLEDGE,
    AIRED,
    BUMP,
    BUMP_END,
    GASES,
    SHUT,
    co,
    course_of,
    o2,
)

MESSAGE_COURSES: dict[str, tuple[Course, ...]] = {
    "d/again": (
        # It rings again while the first phone has no room: that the second is told
        # makes nothing of it known to the first.
        course_of(
            *(GASES, Wait(1, 2.0), o2(17.5), Wait(1, 1.0), Each(Press(), 8, 2.0)),
            *(Restart(28_800.0, knows_gap=False), Wait(12, 30.0), o2(17.5)),
            Wait(10, 30.0),
        ),
        course_of(GASES, SHUT, o2(17.5), Wait(70, 30.0)),
        course_of(GASES, SHUT, co(400.0), Wait(60, 30.0)),
        # Three texts have gone, and then it cannot know how long it was down.
        course_of(
            *(GASES, Wait(1, 60.0), o2(17.5), Wait(5, 5.0)),
            *(Restart(7200.0, knows_gap=False), Wait(12, 30.0), Wait(12, 60.0)),
        ),
    ),
    "d/both": (
        # Answered, and it rings again: the second phone is called by its own room.
        course_of(
            *(GASES, co(80.0), Wait(10, 30.0), co(400.0), Wait(5), co(0.5), Wait(6)),
            *(Press(), co(400.0), Wait(50)),
        ),
        course_of(GASES, SHUT, co(250.0), Wait(14, 30.0), co(500.0), Wait(2, 30.0)),
        # Sent to both as `medium`, and to one alone when it becomes `high`.
        course_of(GASES, SHUT, co(150.0), Wait(14, 30.0), co(400.0), Wait(2, 30.0)),
        # Answered in the instant in which something else was told to both.
        course_of(
            *(GASES, o2(17.5), co(700.0), Wait(31, 30.0), co(700.0)),
            Each(ACKNOWLEDGE, 1, 30.0),
        ),
    ),
    "d/second": (
        # Each phone heard last that somebody answered, and the oxygen rings again.
        course_of(
            *("strict", o2(17.5), Wait(14, 60.0), Turn("co2_ppm", 40_000.0), Wait(5)),
            Each(ACKNOWLEDGE, 10, 60.0),
        ),
        course_of(GASES, co(80.0), Wait(11, 30.0), co(400.0), Wait(8, 60.0)),
        # The oxygen is answered as the carbon monoxide begins to sound.
        course_of(
            *(GASES, o2(17.5), Wait(1, 5.0), Wait(3, 60.0)),
            *(co(400.0), Wait(1), Press(), Wait(12, 30.0)),
        ),
        # The first of three texts was of less, and it rings again after an answer.
        course_of(
            *(GASES, co(80.0), Wait(14, 60.0), AIRED, co(400.0), Wait(13), Press()),
            *(co(400.0), Wait(13, 30.0)),
        ),
        # It was called for less, while the danger was answered by phone.
        course_of(
            *("strict", co(150.0), Wait(3, 60.0), Wait(5, 2.0), o2(19.0)),
            *(Each(ACKNOWLEDGE, 4, 30.0), Wait(38)),
        ),
        # Answered as it is told, and rings again; the phone's room is full.
        course_of(
            *(GASES, o2(19.0), Each(Press(), 46, 2.0), Wait(10, 30.0), co(700.0)),
            *(Wait(2, 60.0), co(0.5), Wait(6), Press(), co(400.0), Wait(13, 30.0)),
        ),
        # Three texts have told it, then it is answered, and rings again.
        course_of(
            *("hut", Odd(-1e9, "o2_pct"), Turn("co2_ppm", 15e3), Wait(15, 60.0)),
            *(co(700.0), Wait(2, 5.0), co(0.5), Wait(6), Press()),
            *(co(700.0), Wait(8, 60.0)),
            noise=1,
        ),
    ),
    "d/softer": (
        course_of(GASES, co(400.0), Wait(6, 30.0)),
        course_of("co-alone", SHUT, co(400.0), Wait(3), Turn("temp_c", -5.0), Wait(60)),
        course_of(
            *(GASES, SHUT, co(400.0), Wait(2), Ask("acknowledge", "co-dose")),
            Wait(3),
        ),
        course_of(GASES, SHUT, o2(17.5), Wait(3), SourceSays("mqtt", "late"), Wait(6)),
    ),
    "g/crowd": (
        # A forecast that had come true was known: no fourth text when it is repeated.
        course_of(
            *("hut", Turn("co2_ppm", 11e3), Wait(2, 60.0)),
            *(Turn("changes_per_h", 40.0), o2(17.5)),
            *(Each(ACKNOWLEDGE, 2, 30.0), Each(Press(), 24, 6.0)),
            trend="real",
        ),
        # Two dangers, told as answered, sound again after a restart: both are news.
        course_of(
            *("ceiling", Turn("co2_ppm", 40e3), Wait(5, 60.0), o2(17.5), Wait(1, 1.0)),
            *(Wait(5, 60.0), Each(ACKNOWLEDGE, 4, 60.0), Restart(2.0, knows_gap=False)),
            Wait(1, 1.0),
        ),
        # What is over since, and was never told for a graver one, is no rise.
        Course(
            "two-gases",
            (
                o2(17.5),
                Wait(40, 30.0),
                co(700.0),
                Wait(1),
                Restart(2.0),
                Wait(1, 30.0),
            ),
            "real",
        ),
        # It rang again after an answer, and then the power failed.
        course_of(
            *(GASES, co(80.0), Wait(1, 5.0), co(250.0), Wait(2), co(0.5), Wait(9)),
            *(Press(), co(400.0), Wait(1), Restart(2.0), Wait(1)),
        ),
        course_of(GASES, co(400.0), Wait(1), Restart(2.0), Wait(4, 30.0)),
        # Three texts are out, the all-clear among them, and nobody answers the next.
        course_of(
            *("trailer", Turn("co2_ppm", 15_000.0), Wait(3, 60.0)),
            *(PartTurns("baro", "swapped"), Wait(40, 30.0), Wait(10, 30.0)),
            *(co(150.0), Wait(6, 60.0)),
        ),
        course_of(
            "trailer", Turn("burner_kw", 5.0), SHUT, Wait(60, 30.0), trend="real"
        ),
        # Told as a danger, then as less, then as a danger again, and a reload.
        course_of(
            *(GASES, co(400.0), Wait(1, 1.0), co(0.5), Wait(3), Press()),
            *(co(250.0), Wait(4, 5.0), Reload("strict"), Wait(1, 5.0)),
        ),
        # A forecast that came true is not told after a reload either.
        course_of(
            *(GASES, o2(19.0), Wait(6, 60.0), o2(20.9), Wait(7)),
            *(Reload("co-alone"), Wait(1)),
            trend="real",
        ),
        # A danger told more than ten minutes ago is no news.
        course_of(
            *("hut", co(700.0), Wait(1, 2.0), o2(17.5), Restart(2.0)),
            Wait(10, 60.0),
        ),
        # A danger's further step, beside three texts.
        course_of(GASES, co(150.0), Wait(6, 60.0), o2(17.5), Wait(3)),
        # It waits for room, and the ten minutes end in which it was told.
        course_of(
            *(GASES, Each(Press(), 8, 6.0), AIRED, co(700.0), Wait(3, 60.0)),
            *(Each(ACKNOWLEDGE, 20, 30.0), co(700.0), Each(ACKNOWLEDGE, 2, 30.0)),
        ),
        # To the millisecond ten minutes after the first of three.
        course_of(
            *("hut", Restart(7200.0, knows_gap=False), Wait(10, 30.0), co(150.0)),
            *(Wait(3, 1.0), Press(), PartTurns("cell-o2", "offset"), Wait(25, 30.0)),
            noise=1,
        ),
    ),
    # It waits latched for an answer.
    "h/softer": (
        course_of(GASES, co(400.0), Wait(3), co(0.5), AIRED, Wait(20, 30.0), Fork()),
        course_of(GASES, co(400.0), Wait(3), Fork()),
    ),
    "h/replay": (Course(GASES, (co(400.0), Wait(6)), replays=True),),
    # What counts towards an on-delay, or a rate, is not kept.
    "h/later": (
        # The part falls silent as the danger begins: a run that began after it has
        # nothing to ring by but the silence.
        course_of(
            *("van", o2(17.5), Wait(1, 1.0), Fork(), Wait(1)),
            *(PartTurns("cell-o2", "silent"), Wait(3, 60.0)),
        ),
        # Its delay counts anew: it rings one delay later, and no more.
        course_of("hut", Turn("co2_ppm", 15e3), Wait(1, 5.0), Fork(), Wait(6)),
        # What rang is over sooner where nobody restored anything.
        course_of(
            *(GASES, co(150.0), Wait(1), co(0.5), Wait(6), Wait(3, 5.0), Fork()),
            Wait(3, 5.0),
        ),
        # The minutes of a mean are kept by the minute: it rings a little sooner.
        course_of(
            *("hut", Turn("co2_ppm", 40e3), Wait(3, 60.0), Each(Press(), 8, 6.0)),
            *(Each(Press(), 8, 6.0), Fork(), Wait(12)),
        ),
        # A rate's minutes count anew.
        course_of(
            *(GASES, Wait(2), Turn("burner_kw", 2.0), Wait(10, 30.0), Fork()),
            Wait(4, 60.0),
        ),
        # How long a part was in doubt counts anew.
        course_of(
            *(GASES, PartTurns("bunk-co", "doubtful"), Wait(10, 60.0), Fork()),
            Wait(4, 30.0),
        ),
        # Its quiet time ends, or it gets a step worse, soon after.
        course_of(GASES, SHUT, co(150.0), Wait(3), Press(), Wait(24), Fork(), Wait(12)),
        course_of(
            *(GASES, SHUT, o2(19.3), Wait(3), Press(), Wait(3), Fork(), o2(18.4)),
            Wait(6),
        ),
    ),
    "h/louder": (
        # A chattering button answered what is gone for less than its off-delay.
        course_of(
            *("trailer", Wait(1, 30.0), Turn("co2_ppm", 40_000.0), Wait(5, 60.0)),
            *(o2(19.0), Wait(1, 60.0), Each(Press(), 7, 2.0), Fork()),
        ),
        course_of(
            *(
                GASES,
                co(700.0),
                AIRED,
                Wait(3, 60.0),
                ACKNOWLEDGE,
                Reload("two-cells"),
            ),
            *(Wait(1, 1.0), Fork()),
        ),
        # Answered and confirmed: a snapshot keeps the answer.
        course_of(GASES, SHUT, co(150.0), Wait(3), Press(), Wait(3), Fork(), Wait(3)),
    ),
    "k/lower": (course_of(GASES, o2(17.5), co(80.0), Wait(6)),),
    "k/test": (course_of(GASES, co(700.0), Wait(3), Ask("test")),),
    "n/other-fault": (
        course_of(
            GASES, SourceSays("bunk-o2", "absent"), SourceSays("bunk-o2", "late")
        ),
        # It was told of the one and the other, and has the one again.
        course_of(
            *(GASES, SourceSays("mqtt", "checksum"), SourceSays("mqtt", "late")),
            SourceSays("mqtt", "checksum"),
        ),
    ),
    "r/number": (
        # Poisoned for a minute, and nobody answers for an hour after.
        course_of(GASES, co(250.0), Wait(10), co(0.5), AIRED, Wait(60, 60.0)),
        course_of(GASES, SHUT, o2(18.6), Wait(6), o2(20.9), AIRED, Wait(60, 60.0)),
        # It rings on while the gas comes again and again.
        course_of(
            *(GASES, co(250.0), Wait(6), co(0.5), Wait(40), co(40.0), Wait(40)),
            *(co(0.5), Wait(20, 30.0)),
        ),
        # Nobody can tell after a restart whether a forecast still holds.
        Course(
            "two-gases",
            (o2(17.5), Wait(40, 30.0), co(700.0), Wait(1), Restart(2.0), Wait(4, 30.0)),
            "real",
        ),
        # The one part of a place is lost, and the answer's quiet is over.
        course_of(
            *("ceiling", o2(17.5), Wait(1, 1.0), PartTurns("cell-o2", "reported")),
            *(Wait(27, 30.0), Press(), Wait(6, 60.0)),
        ),
        # Within the dead-band: the danger stands, with the number of now.
        course_of(
            *(GASES, o2(19.0), Wait(1, 5.0), Each(ACKNOWLEDGE, 4, 30.0), co(80.0)),
            *(o2(19.0), Each(ACKNOWLEDGE, 4, 30.0), Wait(15, 30.0)),
        ),
        # Much less by now, and still falling.
        course_of(GASES, co(700.0), AIRED, Wait(40, 30.0)),
        # The mean of hours outlives a restart, where a danger has latched.
        course_of(GASES, co(400.0), Wait(66, 60.0), Restart(7200.0), Wait(1, 5.0)),
    ),
    "o/transitions": (course_of(GASES, o2(17.5), Wait(6), Press(), Wait(3)),),
    "p/cause": (course_of(GASES, o2(17.5), Wait(6), Press(), Wait(3)),),
    "q/test": (course_of(GASES, Ask("test"), Wait(3), Ask("test")),),
    "q/bump": (
        course_of(GASES, BUMP, SHUT, co(400.0), Wait(50)),
        course_of(GASES, SHUT, co(400.0), Wait(6), BUMP, Wait(6)),
        course_of(GASES, Wait(1), *(BUMP, Wait(2), BUMP_END, Wait(2)) * 4),
        course_of(GASES, Ask("bump-test"), SHUT, co(400.0), Wait(6)),
        # Answered in it, and still so when it ends: rings again, and is told.
        course_of(GASES, BUMP, SHUT, o2(17.5), Wait(3), Press(), BUMP_END, Wait(60)),
    ),
}
