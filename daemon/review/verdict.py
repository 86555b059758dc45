"""The night in one line: was it safe, and can the monitor vouch for it?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from cabinvigil.daemon.air.figures import FRESH_CO2_PPM, FRESH_O2_PCT
from cabinvigil.daemon.log.night import Gap
from cabinvigil.daemon.review.alarm_episodes import RANKS, AlarmEpisode
from cabinvigil.daemon.review.closest_approach import Approach
from cabinvigil.daemon.review.health import Watched
from cabinvigil.daemon.text.alarm_names import name_of_alarm
from cabinvigil.daemon.text.durations import minutes
from cabinvigil.daemon.text.numbers import valued
from cabinvigil.drivers.kit.quantity import VITAL

DANGEROUS, UNSEEN, CLOSE, WELL = "dangerous", "not seen", "close", "safe"
UNKNOWN = "unknown"
"""Nothing is known to be wrong, and too little is known to call it safe."""
UNSEEN_MIN = 20.0
"""An unvented heater in a shut trailer takes oxygen to its limit within half an hour:
longer than this unwatched, nobody can vouch (our choice; our scenario's `shut`)."""
UNSEEN_SHARE = 0.05
"""Nor where a quantity that protects life was unseen for more than a twentieth of the
night (our choice)."""
WARMING_MIN = 5.0
"""So long sensors warm up after a start, and it is no loss (own choice, above the three
minutes that a start allows for)."""
SHORTEST_H = 0.5
"""A shorter log says nothing of a night: within half an hour of lighting, oxygen is at
its limit in a shut trailer (our scenario's `shut`)."""
WHOLE_NIGHT_H = 5.5
"""Of a shorter log it is said how long it is: whoever stops the monitor by hand, or
starts it late, must not take its word for the whole night (our choice)."""
CO_ALARMS = ("co-level", "co-dose")
"""Of whatever rank: carbon monoxide all night is no safe night, though it woke nobody
(WHO guidelines: 4 mg/m3 over 24 h, 2021; 10 over 8 h, 2010, from memory)."""
CLOSE_SHARE = 0.25
"""Close is where less than this share of the way from fresh air to a waking limit was
left (our choice): oxygen below 19.8 %."""
FRESH = {
    "o2_pct": FRESH_O2_PCT,
    "co_ppm": 0.0,
    "co2_ppm": FRESH_CO2_PPM,
    "gas_lel_pct": 0.0,
}
"""Fresh air, as breathed."""


@dataclass(frozen=True, slots=True)
class NightVerdict:
    """What a person wants to know first."""

    word: str
    """`dangerous`, `not seen`, `unknown`, `close` or `safe`."""
    reasons: tuple[str, ...]
    """Each a clause; the worst first."""
    is_blind: bool = False
    """Whether a part of the night was not monitored, whatever the rest was like."""

    @property
    def is_well(self) -> bool:
        """Whether nothing dangerous happened, and the monitor can vouch for it."""
        return self.word in (CLOSE, WELL)


RINGING = {
    "displaced-air": "a gas other than breath or fumes took the air's place",
    "gas-leak": "unburnt gas was in the air",
    "o2-pressure": "there was too little oxygen for the height",
    "contact-smoke": "the smoke alarm sounded",
    "contact-gas": "the gas alarm sounded",
    "contact-co": "the carbon monoxide alarm sounded",
    "contact-bilge": "there was water in the bilge",
}
"""Alarms that say more than the limits passed."""
FROM_WAKING = ("o2-pressure", "displaced-air", "gas-leak")
"""Those whose first waking step is past a limit of what is breathed that no limit above
speaks of; other alarms of that rank foresee one, or are about the cabin."""


def verdict(
    near: Sequence[Approach],
    rang: Sequence[AlarmEpisode],
    seen: Sequence[Watched],
    gaps: Sequence[Gap],
    hours: float = 9.0,
    *,
    is_cut_off: bool = False,
    lacking: Sequence[str] = (),
) -> NightVerdict:
    """Judge the night.

    Args:
        near: how close it came to each limit.
        rang: what sounded.
        seen: how well each quantity was watched.
        gaps: in its log.
        hours: from its first line to its last.
        is_cut_off: whether the log just ends.
        lacking: what of the log is missing or damaged, a clause each.
    """
    passed = _passed(near)
    called = [
        one
        for one in rang
        if one.is_about_air
        and one.rank >= RANKS["medium" if one.alarm in FROM_WAKING else "high"]
    ]
    reasons = list(passed)
    told = {one.limit.alarm for one in near if one.margin <= 0.0}
    reasons += [
        RINGING.get(one.alarm, rang_in_words(one.alarm))
        for one in called
        if one.alarm not in told and (not passed or one.alarm in RINGING)
    ]
    blind = [*lacking, *_blind(seen, gaps)]
    if is_cut_off:
        blind.append(
            "the monitor stopped without warning, and nothing was monitored after it"
        )
    if passed or called:
        return NightVerdict(
            DANGEROUS, tuple(dict.fromkeys([*reasons, *blind])), bool(blind)
        )
    if blind:
        return NightVerdict(UNSEEN, tuple(blind), is_blind=True)
    unknown = _unknown(near, seen, hours)
    if unknown:
        return NightVerdict(UNKNOWN, tuple(unknown))
    waking = [one for one in rang if one.is_about_air and one.rank >= RANKS["medium"]]
    close = [rang_in_words(one.alarm) for one in waking] + _close(near)
    close += [
        rang_in_words(one.alarm) for one in rang if one.alarm in CO_ALARMS
    ] + _in_the_blood(near)
    short = [f"only {minutes(60.0 * hours)} were monitored"] * (hours < WHOLE_NIGHT_H)
    if close:
        return NightVerdict(CLOSE, tuple(dict.fromkeys([*close, *short])))
    return NightVerdict(WELL, tuple(short))


def unseen_allowed_min(length_min: float) -> float:
    """Return for how long a vital quantity may be unknown in so many minutes."""
    return max(WARMING_MIN, min(UNSEEN_MIN, UNSEEN_SHARE * length_min))


def rang_in_words(alarm: str) -> str:
    """Say that an alarm sounded, by what people call it."""
    return f"the alarm for {name_of_alarm(alarm)} sounded"


def _is_grave(one: Approach) -> bool:
    """Return whether a limit is one that wakes people, about the air they breathe."""
    is_air = one.limit.quantity in FRESH or one.limit.quantity == "cohb_pct"
    return is_air and RANKS.get(one.limit.priority, 0) >= RANKS["medium"]


def _passed(near: Sequence[Approach]) -> list[str]:
    """List the gravest limit passed of each quantity."""
    gravest: dict[str, Approach] = {}
    for one in near:
        if one.margin > 0.0 or not _is_grave(one):
            continue
        before = gravest.get(one.limit.quantity)
        if before is None or _weight(one) > _weight(before):
            gravest[one.limit.quantity] = one
    ordered = sorted(gravest.values(), key=lambda one: -RANKS[one.limit.priority])
    return [
        f"{WORDS.get(one.limit.quantity, one.limit.quantity)} "
        f"{_value(_of_moment(near, one))}"
        for one in ordered
    ]


def _of_moment(near: Sequence[Approach], mean: Approach) -> Approach:
    """Return the approach that gives the worst value itself, not its mean over a time.

    What is said first must be what the table below says again.
    """
    if not mean.limit.over_s:
        return mean
    fellows = (one for one in near if one.limit.quantity == mean.limit.quantity)
    return next((one for one in fellows if not one.limit.over_s), mean)


def _weight(one: Approach) -> tuple[int, bool]:
    """Order by priority; a value of the moment says more to people than a mean."""
    return RANKS.get(one.limit.priority, 0), not one.limit.over_s


WORDS = {
    "o2_pct": "oxygen",
    "co_ppm": "carbon monoxide",
    "co2_ppm": "carbon dioxide",
    "gas_lel_pct": "unburnt gas",
    "cohb_pct": "carbon monoxide in the blood",
}


def _in_the_blood(near: Sequence[Approach]) -> list[str]:
    """Return what carbon monoxide in the blood came to, where it passed any limit."""
    blood = [one for one in near if one.limit.quantity == "cohb_pct"]
    most = max((one for one in blood if one.margin <= 0.0), key=_weight, default=None)
    return [] if most is None else [f"{WORDS['cohb_pct']} {_value(most)}"]


def _value(one: Approach) -> str:
    """Write a value without the trade's short words."""
    text = valued(one.limit.quantity, one.value)
    return text.replace("% LEL", "% of the explosive limit")


def _blind(seen: Sequence[Watched], gaps: Sequence[Gap]) -> list[str]:
    reasons = []
    silent_min = math.fsum(gap.length_s for gap in gaps) / 60.0
    if silent_min > UNSEEN_MIN:
        reasons.append(f"nothing was recorded for {minutes(silent_min)}")
    for one in seen:
        is_warming = one.unseen_from_s == 0.0 and one.longest_min <= WARMING_MIN
        warming_min = one.longest_min if is_warming else 0.0
        alone_min = one.unseen_min - silent_min - warming_min
        is_short = 1.0 - one.share > UNSEEN_SHARE and alone_min >= 1.0
        if one.quantity in FRESH and (alone_min > UNSEEN_MIN or is_short):
            reasons.append(f"{one.words} was not monitored for {minutes(alone_min)}")
    return reasons


def _unknown(
    near: Sequence[Approach], seen: Sequence[Watched], hours: float
) -> list[str]:
    """List why too little is known: what nobody measured or judged is not safe."""
    measured = {one.quantity for one in seen if one.share > 0.0}
    judged = {one.limit.quantity for one in near}
    reasons = [
        f"{WORDS[name]} was never measured" for name in VITAL if name not in measured
    ]
    reasons += [
        f"{WORDS[name]} was judged by no limit"
        for name in VITAL
        if name in measured and name not in judged
    ]
    if hours < SHORTEST_H:
        reasons.append(f"{minutes(60.0 * hours)} are too short to judge")
    return reasons


def _close(near: Sequence[Approach]) -> list[str]:
    found: dict[str, str] = {}
    for one in near:
        fresh = FRESH.get(one.limit.quantity)
        if fresh is None or not _is_grave(one) or one.limit.over_s:
            continue
        way = abs(one.limit.at - fresh)
        if one.margin < CLOSE_SHARE * way:
            words = WORDS[one.limit.quantity]
            found.setdefault(words, f"{words} {_value(one)}")
    return list(found.values())
