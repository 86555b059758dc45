"""A test of the parts that runs: what sounds by it is no danger; pure."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from cabinvigil.daemon.phone.inbound import AlarmHeard, BeatHeard

RUNG_BY: Mapping[str, tuple[str, ...]] = {
    # What is held to the parts: how the names of the alarms begin that ring by it.  All
    # else is believed: rather a test that looks like a danger.
    "breath": ("o2-", "co2-"),
    "gas": ("co-",),
}
SHOWN_BY_IT = ("sensor-jump/", "sensors-disagree", "stratified")
"""What either makes of the parts."""


@dataclass(frozen=True, slots=True)
class PartTest:
    """One test, as heartbeats tell of it."""

    run: str
    seq: int
    """Of the first heartbeat that told of it: what had sounded before is none of it."""
    until_s: float
    by: str

    def covers(self, alarm: AlarmHeard, stand: int, now_s: float) -> bool:
        """Return whether an alarm sounded by it, and it still runs.

        Args:
            alarm: that stands.
            stand: the number of the message by which it last began to ring.
            now_s: monotonic.
        """
        if now_s >= self.until_s or alarm.run != self.run or stand <= self.seq:
            return False
        return alarm.alarm.startswith((*RUNG_BY.get(self.by, ()), *SHOWN_BY_IT))


def heard(before: PartTest | None, beat: BeatHeard, now_s: float) -> PartTest | None:
    """Return the test that a heartbeat tells of; None: none runs."""
    if not beat.bump_for_s:
        return None
    until_s = now_s + beat.bump_for_s
    if before is not None and (before.run, before.by) == (beat.run, beat.bump_by):
        return replace(before, until_s=until_s)
    return PartTest(beat.run, beat.seq, until_s, beat.bump_by)
