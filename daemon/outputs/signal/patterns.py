"""The sounds: the pulses of each pattern, a pure function of the time since it began.

Each is a published sound, used for what it means.  Temporal-three means fire: it sounds
only where a config asks for it beside a smoke alarm's contact, and never for a gas.
"""

from dataclasses import dataclass
from itertools import accumulate

# Micro-seconds, as whole numbers: edges of a night-long sound must not drift by
# what floats lose.
_MS = 1_000
_S = 1_000_000

# Temporal-four, carbon monoxide: four pulses of 100 ms, then 5 s of silence
# (check_values sound_t4).  The 100 ms between pulses is unverified (UL 2034, NFPA 72);
# an alarm's manual that repeats the whole every 5.8 s agrees.
# After four minutes the standard lets it slow to one group a minute; we keep the full
# rate while the alarm is active, since a sleeper may be waking only then.
T4_PULSE_MS = 100
T4_GAP_MS = 100
T4_PULSES = 4
T4_PAUSE_MS = 5_000
# Unanswered for long: as much sound as the tolerance of 10 % gives (unverified, as the
# gaps), less what a thread may be late: 0.43 s of each 5.3 instead of 0.4 of 5.7.  It
# is the same sound: what says "leave" is never another.
FULL_T4_PULSE_MS = 108
FULL_T4_GAP_MS = 92
FULL_T4_PAUSE_MS = 4_600

# Temporal-three, the evacuation signal of ISO 8201: three pulses of 0.5 s, 0.5 s apart,
# then 1.5 s of silence, each within 10 % (the Ontario Building Code's appendix B to
# 3.2.4.18. quotes them).
T3_PULSE_MS = 500
T3_GAP_MS = 500
T3_PULSES = 3
T3_PAUSE_MS = 1_500

# Three-pulse burst of IEC 60601-1-8, medium priority: pulses of 125 to 250 ms,
# 125 to 250 ms apart, burst repeated after 2.5 to 30 s (check_values
# iec60601_burst_timing, unverified; three pulses: iec60601_burst_shape).
# Repeated soon: it has to wake.
BURST_PULSE_MS = 200
BURST_GAP_MS = 200
BURST_PULSES = 3
BURST_PAUSE_MS = 5_000
# Unanswered for long: the longest pulses, the shortest gaps and as soon again as the
# standard allows, less what a thread may be late; for those who have one sounder only.
# 0.72 s of each 3.6 instead of 0.6 of 6.
HURRIED_PULSE_MS = 240
HURRIED_GAP_MS = 140
HURRIED_PAUSE_MS = 2_600

# One short chirp a minute for a fault: common practice of detectors, no source.
CHIRP_MS = 100
CHIRP_EVERY_MS = 60_000

# The bedtime test plays the burst once, then one group of temporal-four, so that the
# sleepers know both sounds; two seconds between, our choice.
TEST_REST_MS = 2_000


@dataclass(frozen=True, slots=True)
class Edge:
    """The level now, and when it changes next."""

    is_on: bool
    """Whether the sounder sounds at this moment."""
    next_change_s: float
    """Seconds since the pattern began; infinity where nothing changes any more."""


@dataclass(frozen=True, slots=True)
class Pattern:
    """Alternating spans of sound and silence, beginning with sound."""

    name: str
    edges_us: tuple[int, ...]
    """Ends of the spans; the first span sounds, the second is silent, and so on."""
    repeats: bool = True

    @property
    def length_s(self) -> float:
        """One round, in seconds."""
        return self.edges_us[-1] / _S if self.edges_us else 0.0


def _pulses(count: int, pulse_ms: int, gap_ms: int, rest_ms: int) -> tuple[int, ...]:
    spans = [pulse_ms, gap_ms] * count
    spans[-1] = rest_ms
    return tuple(spans)


def _pattern(name: str, spans_ms: tuple[int, ...], *, repeats: bool = True) -> Pattern:
    return Pattern(name, tuple(accumulate(s * _MS for s in spans_ms)), repeats)


_BURST = _pulses(BURST_PULSES, BURST_PULSE_MS, BURST_GAP_MS, BURST_PAUSE_MS)
_HURRIED = _pulses(BURST_PULSES, HURRIED_PULSE_MS, HURRIED_GAP_MS, HURRIED_PAUSE_MS)
_T4 = _pulses(T4_PULSES, T4_PULSE_MS, T4_GAP_MS, T4_PAUSE_MS)
_FULL_T4 = _pulses(T4_PULSES, FULL_T4_PULSE_MS, FULL_T4_GAP_MS, FULL_T4_PAUSE_MS)
_T3 = _pulses(T3_PULSES, T3_PULSE_MS, T3_GAP_MS, T3_PAUSE_MS)
_TEST = (*_BURST[:-1], TEST_REST_MS, *_T4)

PATTERNS = {
    pattern.name: pattern
    for pattern in (
        _pattern("quiet", (), repeats=False),
        _pattern("chirp", (CHIRP_MS, CHIRP_EVERY_MS - CHIRP_MS)),
        _pattern("three-pulse", _BURST),
        _pattern("hurried-burst", _HURRIED),
        _pattern("temporal-four", _T4),
        _pattern("full-temporal-four", _FULL_T4),
        _pattern("temporal-three", _T3),
        _pattern("test", _TEST, repeats=False),
    )
}
"""By name.  `test` is played once; all others until the next command."""

HURRIED = {"three-pulse": "hurried-burst", "temporal-four": "full-temporal-four"}
"""What a sound becomes once nobody has answered it for long."""
LOUD_AT_ONCE = frozenset({"temporal-four", "temporal-three"})
"""The second sounder plays these from their first pulse: loudness wakes more people
than any shaker or light (Thomas and Bruck), and two minutes of 400 ppm are too many."""


def edges(pattern: str, since_s: float) -> Edge:
    """Return whether a pattern sounds `since_s` after it began, and what comes next.

    An unknown pattern sounds like temporal-four: a sound too much wakes someone, a
    sound too little does not.
    """
    shape = PATTERNS.get(pattern, PATTERNS["temporal-four"])
    at_us = max(0, round(since_s * _S))
    if not shape.edges_us or (not shape.repeats and at_us >= shape.edges_us[-1]):
        return Edge(is_on=False, next_change_s=float("inf"))
    round_us = at_us - at_us % shape.edges_us[-1]
    for number, end_us in enumerate(shape.edges_us):
        if at_us < round_us + end_us:
            is_on = number % 2 == 0
            return Edge(is_on=is_on, next_change_s=(round_us + end_us) / _S)
    raise AssertionError("the last stretch ends the round")
