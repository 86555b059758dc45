"""What the monitor is held to: published limits and times, each with its source.

The times are promises to a sleeper: README is to say the same.
"""

from dataclasses import dataclass
from itertools import pairwise

from tests.invariants.moment import HIGH, MEDIUM


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit that wakes people, and the alarm that guards it.

    Delay, quiet time and dead-band are those that the packaged limits promise.
    """

    name: str
    quantity: str
    at: float
    is_below: bool
    priority: int
    delay_s: float
    ack_s: float
    """For so long an acknowledgement may quiet it."""
    dead_band: float
    """So far on the good side the alarm is the same one still."""
    guard: str
    source: str

    def is_past(self, value: float) -> bool:
        """Return whether a value is at the limit or beyond."""
        return value <= self.at if self.is_below else value >= self.at

    def is_near(self, value: float) -> bool:
        """Return whether a value is past the limit, or within its dead-band."""
        if self.is_below:
            return value <= self.at + self.dead_band
        return value >= self.at - self.dead_band


LIMITS = (
    Limit(
        *("O2 19.5 %", "o2_pct", 19.5, True, HIGH, 5.0, 300.0, 0.2, "o2-low"),
        source="oxygen-deficient atmosphere, 29 CFR 1910.146(b)",
    ),
    Limit(
        *("O2 18.0 %", "o2_pct", 18.0, True, HIGH, 5.0, 300.0, 0.2, "o2-low"),
        source="an unvented room heater's own guard, US CPSC 1980 (revoked 1984)",
    ),
    Limit(
        *("CO 70 ppm", "co_ppm", 70.0, False, MEDIUM, 0.0, 300.0, 5.0, "co-level"),
        source="UL 2034 begins here",
    ),
    Limit(
        *("CO 200 ppm", "co_ppm", 200.0, False, HIGH, 0.0, 300.0, 5.0, "co-level"),
        source="NIOSH ceiling, never to be exceeded",
    ),
    Limit(
        *("CO2 1 %", "co2_ppm", 1e4, False, MEDIUM, 15.0, 900.0, 300.0, "co2-level"),
        source="NIOSH criteria document 1976, mean of a shift",
    ),
    Limit(
        *("CO2 3 %", "co2_ppm", 3e4, False, HIGH, 15.0, 900.0, 300.0, "co2-level"),
        source="NIOSH and ACGIH, 15 minutes at most",
    ),
)

CO_HOURS_PPM, CO_HOURS_S = 30.0, 4 * 3600.0
"""Carbon monoxide for four hours wakes people too, as 70 ppm does, and asks the same of
them (AEGL-2 is 33 ppm over four hours)."""

CO2_QUARTER_PPM, CO2_QUARTER_S = 15e3, 900.0
"""Carbon dioxide over a quarter of an hour is a danger as 3 % is (EH40's short-term
limit)."""
LAG_S = 15.0
"""A part knows of other air so much later at least (sensors.md: the quickest oxygen
cell takes 15 s to nine tenths)."""

FURTHER = {
    limit.guard: limit
    for first, limit in pairwise(LIMITS)
    if first.guard == limit.guard and first.priority == limit.priority == HIGH
}
"""A danger's further step, by its guard: the act is another one, so it is told as a
rise is (README, 'Asleep')."""

# --- what is good air, for an all-clear -------------------------------------------

GOOD_O2_PCT = 19.5
"""29 CFR 1910.146(b)."""
GOOD_CO_PPM = 30.0
"""EN 50291-1:2018 begins here."""
CLEAN_CO_PPM = 10.0
"""By readings: above WHO's value for eight hours, 9 ppm, and below all that is told."""
GOOD_CO2_PPM = 10_000.0
"""The first limit of CO2 that wakes."""
ERROR = {"o2_pct": 0.1, "co_ppm": 3.0, "co2_ppm": 300.0}
"""What noise and lag of an honest part leave between it and the air, at the end of five
good minutes: three lags of the slowest part (our choice)."""

# --- times -----------------------------------------------------------------------

SILENT_S = 60.0
"""A vital quantity that nobody gives is a `medium` within this (our choice)."""
FROZEN_S = 900.0
"""... that stands still away from zero (our choice)."""
DOUBTFUL_S = 900.0
"""... that only parts outside their range, or warming up, give (our choice)."""
START_S = 300.0
"""From a start or a reload until a part that has not spoken is a `medium`: a part that
warms up gives doubtful values at once, so it need not be waited for (our choice)."""
STILL_S = 300.0
"""No all-clear on a value that has not moved in all of its five quiet minutes."""
CO_REST_PPM = 3.0
"""Carbon monoxide may rest at its zero for days; above this it moves (our choice)."""
HEARD_S = 0.5
"""Nobody hears a sound, wakes and presses within this: a simple reaction takes 0.2 s,
a startled press longer (common practice, no source)."""
SURELY_HEARD_S = 2.0
"""An acknowledgement counts for what has sounded for so long (README)."""
REPEAT_S = 900.0
"""An unacknowledged high is sent again at least so often (our choice)."""
ESCALATE_S = 300.0
"""Unacknowledged for so long, it goes to the second phone (our choice)."""
CROWD_S, CROWD = 600.0, 3
"""At most so many messages to one phone in this time, but for a rise to high (EEMUA 191
counts one alarm in ten minutes as acceptable; three is our choice)."""
CHATTER_S, CHATTER = 60.0, 6
"""More presses than this within a minute are no person's (our choice)."""
TEST_S = 600.0
"""A test sounds at most so often (our choice)."""
BUMP_S, BUMPS, BUMPS_IN_S = 300.0, 3, 3600.0
"""How long a bump test may keep the phones from a danger; how often (our choice)."""
NUMBER_S = 60.0
"""A number in a message is of the last minute (our choice)."""
MEASURABLE_PCT = 1.0
"""Carboxyhaemoglobin that nobody has in clean air (0.4 to 0.9 %, from memory)."""
USED_S = 30.0
"""A reading may be used for so long after it came: three of the slowest intervals."""
