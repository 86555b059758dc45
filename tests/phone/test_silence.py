"""A cabin's silence, in virtual time: told on time, and never where there is none."""

import random
from dataclasses import dataclass, field

import pytest

from cabinvigil.daemon.phone.inbound import BeatHeard
from cabinvigil.daemon.phone.silence import (
    AGAIN_S,
    MOST_CABINS,
    MOST_STRANGERS,
    SilenceNews,
    SilenceWatch,
)

LOOK_S = 0.5
LATEST_S = 5.0
"""Told within three heartbeats and so much."""


@dataclass
class Night:
    """A cabin's watch, a network and this process, second by second."""

    period_s: float = 30.0
    now_s: float = 1000.0
    watch: SilenceWatch = field(default_factory=SilenceWatch)
    news: list[tuple[float, SilenceNews]] = field(default_factory=list)
    seq: int = 0
    run: str = "2026-01-16T21:00:00.000Z"
    born_s: float = 990.0

    def __post_init__(self) -> None:
        self.watch.connected(True, 0.0)

    def beat(self, cabin: str = "lapwing", *, late_s: float = 0.0) -> BeatHeard:
        self.seq += 1
        up_s = self.now_s - self.born_s - late_s
        return BeatHeard(cabin, self.run, self.seq, up_s, self.period_s)

    def hear(self, beat: BeatHeard | None = None, *, retained: bool = False) -> None:
        self.watch.heartbeat(beat or self.beat(), self.now_s, is_retained=retained)

    def pass_s(self, time_s: float) -> None:
        until_s = self.now_s + time_s
        while self.now_s < until_s:
            self.now_s = min(until_s, self.now_s + LOOK_S)
            self.news += [(self.now_s, one) for one in self.watch.look(self.now_s)]

    def live(self, time_s: float) -> None:
        """Let the watch's heart beat for so long."""
        until_s = self.now_s + time_s
        while self.now_s < until_s:
            self.hear()
            self.pass_s(min(self.period_s, until_s - self.now_s))

    def told(self) -> list[str]:
        return [one.kind for _, one in self.news]


@pytest.mark.parametrize("period_s", [5.0, 30.0, 600.0])
def test_a_silence_is_told_within_three_heartbeats_and_five_seconds(
    period_s: float,
) -> None:
    night = Night(period_s)
    night.live(10 * period_s)
    night.hear()
    last_s = night.now_s
    night.pass_s(4 * period_s + 10.0)
    assert night.told() == ["silent"]
    at_s, news = night.news[0]
    assert 3 * period_s < at_s - last_s <= 3 * period_s + LATEST_S
    assert (news.urgency, news.since_s, news.cabin) == (5, last_s, "lapwing")


def test_what_the_broker_kept_is_no_sign_of_life() -> None:
    """A retained heartbeat, and one that is sent again, however often."""
    night = Night()
    old = night.beat()
    for _ in range(200):
        night.hear(old, retained=True)
        night.pass_s(1.0)
    assert night.told() == ["silent"]
    night.hear(again := night.beat())
    night.pass_s(1.0)
    assert night.told() == ["silent", "back"]
    for _ in range(200):
        night.hear(again)
        night.pass_s(1.0)
    assert night.told() == ["silent", "back", "silent"]


def test_what_was_held_back_tells_of_when_it_was_sent() -> None:
    """A bridge that hands on an hour's heartbeats at once does not vouch for now."""
    night = Night()
    night.live(600.0)
    night.hear()
    held = []
    for _ in range(2):
        night.pass_s(15.0)
        held.append(night.beat(late_s=0.0))
    last_s = night.now_s
    night.pass_s(50.0)
    for beat in held:
        night.hear(beat)
    night.pass_s(120.0)
    assert night.told() == ["silent"]
    assert night.news[0][0] <= last_s + 3 * 30.0 + LATEST_S
    assert night.news[0][1].since_s == pytest.approx(last_s)


def test_a_restart_of_the_watch_is_a_new_life_and_its_old_heartbeats_are_none() -> None:
    night = Night()
    night.live(300.0)
    old = night.beat()
    night.run, night.seq, night.born_s = "2026-01-16T21:06:00.000Z", 0, night.now_s
    night.live(300.0)
    assert night.told() == []
    for _ in range(100):
        old = BeatHeard("lapwing", old.run, old.seq + 1, old.up_s + 1.0, 30.0)
        night.hear(old)
        night.pass_s(1.0)
    assert night.told() == ["silent"]


def test_a_second_watch_of_the_name_that_ends_leaves_the_first_alive() -> None:
    """Tried by hand for a moment: the first goes on, and nobody is told of silence."""
    night = Night()
    night.live(300.0)
    second = Night(run="2026-01-16T21:40:00.000Z", born_s=night.now_s)
    for _ in range(2):
        second.now_s = night.now_s
        night.hear(second.beat())
        night.hear()
        night.pass_s(30.0)
    night.live(600.0)
    assert night.told() == []
    # And then it dies: what the second one sent, come late, is no sign of life.
    died_s = night.now_s
    second.now_s = died_s - 590.0
    late = second.beat()
    night.pass_s(40.0)
    night.hear(late)
    night.pass_s(100.0)
    assert night.told() == ["silent"]
    assert night.news[0][0] <= died_s + 3 * night.period_s + LATEST_S


def test_what_a_former_run_sent_and_a_bridge_held_back_makes_it_no_present_one() -> (
    None
):
    """Its heartbeats come late, each newer than the last that was heard of it."""
    night = Night()
    night.live(300.0)
    former, at_s = night.run, night.now_s
    night.run, night.seq, night.born_s = "2026-01-16T21:06:00.000Z", 0, at_s
    night.live(300.0)
    late = BeatHeard("lapwing", former, 50, at_s - 990.0 + 30.0, 30.0)
    assert not night.watch.heartbeat(late, night.now_s, is_retained=False)
    assert night.watch.heartbeat(night.beat(), night.now_s, is_retained=False)


def test_a_stop_in_order_is_a_note_and_a_death_is_a_danger() -> None:
    night = Night()
    night.live(300.0)
    night.watch.presence("lapwing", "stopped", night.now_s)
    night.pass_s(1.0)
    assert [(one.kind, one.urgency) for _, one in night.news] == [("stopped", 2)]
    night.pass_s(3600.0)
    assert night.told() == ["stopped"], "once"
    night.watch.presence("lapwing", "watching", night.now_s)
    night.pass_s(20.0)
    assert night.told() == ["stopped"], "it has until its first completed step"
    night.run, night.seq, night.born_s = "another", 0, night.now_s
    night.live(60.0)
    assert night.told() == ["stopped", "back"]
    night.watch.presence("lapwing", "lost", night.now_s)
    night.pass_s(100.0)
    assert night.told() == ["stopped", "back", "silent"]
    assert night.news[-1][1].cause == "lost"


def test_a_watch_that_says_it_starts_and_never_steps_is_told() -> None:
    night = Night()
    night.live(60.0)
    night.watch.presence("lapwing", "stopped", night.now_s)
    night.pass_s(100.0)
    night.watch.presence("lapwing", "watching", night.now_s)
    night.pass_s(95.0)
    assert night.told() == ["stopped", "silent"]


def test_it_is_told_again_while_it_lasts_and_seldom_after_hours() -> None:
    night = Night()
    night.live(60.0)
    night.pass_s(100.0)
    night.pass_s(AGAIN_S * 3)
    assert night.told() == ["silent", "again", "again", "again"]
    night.pass_s(24 * 3600.0)
    assert 24 < len(night.news) < 40
    assert night.news[-1][0] - night.news[-2][0] > 5 * 3600.0


def test_the_cause_is_named_where_it_is_known() -> None:
    night = Night()
    night.live(60.0)
    night.watch.bridge("lapwing", False, night.now_s)
    night.pass_s(100.0)
    assert night.news[0][1].cause == "bridge"
    night.watch.connected(False, night.now_s)
    night.pass_s(AGAIN_S)
    assert night.news[1][1].cause == "broker"


def test_an_expected_cabin_that_was_never_heard_is_told() -> None:
    night = Night()
    night.watch.expect("lapwing", night.now_s)
    night.pass_s(95.0)
    assert night.told() == ["silent"]
    assert night.news[0][1].since_s is None


@pytest.mark.parametrize("seed", range(4))
def test_no_false_silence_where_the_network_drops_a_fifth_of_the_time(
    seed: int,
) -> None:
    """A day: drops of up to two periods; what was kept comes, late, at their end.

    Back within two seconds, as a reconnection takes; the Will is said meanwhile.
    """
    dice = random.Random(seed)
    night = Night()
    end_s = night.now_s + 24 * 3600.0
    down_until_s, next_drop_s = 0.0, night.now_s + 100.0
    next_beat_s, waiting = night.now_s, None
    dropped_s = 0.0
    while night.now_s < end_s:
        is_down = night.now_s < down_until_s
        if night.now_s >= next_beat_s:
            next_beat_s += 30.0
            waiting = night.beat()
        if not is_down and waiting is not None:
            night.hear(waiting)
            waiting = None
            night.watch.presence("lapwing", "watching", night.now_s)
        if night.now_s >= next_drop_s and not is_down:
            long_s = dice.uniform(1.0, 60.0)
            dropped_s += long_s
            down_until_s = night.now_s + long_s + dice.uniform(0.0, 2.0)
            next_drop_s = down_until_s + dice.expovariate(1 / 110.0)
            night.watch.presence("lapwing", "lost", night.now_s)
        night.pass_s(LOOK_S)
    assert dropped_s > 0.17 * 24 * 3600.0, "about a fifth"
    assert night.told() == []


@pytest.mark.parametrize("seed", range(4))
def test_no_false_silence_where_our_own_network_drops_a_fifth_of_the_time(
    seed: int,
) -> None:
    """A day: what the watch says meanwhile is lost, and its next word comes on time.

    Between two drops there is a period at least: a second drop before the first word
    after the first is a longer drop, and that is told.
    """
    dice = random.Random(seed)
    night = Night()
    end_s = night.now_s + 24 * 3600.0
    down_until_s, next_drop_s, next_beat_s = 0.0, night.now_s + 100.0, night.now_s
    dropped_s = 0.0
    while night.now_s < end_s:
        is_down = night.now_s < down_until_s
        night.watch.connected(not is_down, night.now_s)
        if night.now_s >= next_beat_s:
            next_beat_s += 30.0
            beat = night.beat()
            if not is_down:
                night.hear(beat)
        if night.now_s >= next_drop_s and not is_down:
            long_s = dice.uniform(1.0, 60.0)
            dropped_s += long_s
            down_until_s = night.now_s + long_s + dice.uniform(0.0, 2.0)
            next_drop_s = down_until_s + 31.0 + dice.expovariate(1 / 85.0)
        night.pass_s(LOOK_S)
    assert dropped_s > 0.17 * 24 * 3600.0, "about a fifth"
    assert night.told() == []


@pytest.mark.parametrize("away_s", [1.0, 30.0, 60.0, 89.0])
def test_a_watch_that_dies_while_our_own_network_is_away_is_told_a_period_later(
    away_s: float,
) -> None:
    night = Night()
    night.live(300.0)
    night.hear()
    last_s = night.now_s
    night.watch.connected(False, night.now_s)
    night.pass_s(away_s)
    night.watch.connected(True, night.now_s)
    night.pass_s(200.0)
    assert night.told() == ["silent"]
    assert 90.0 < night.news[0][0] - last_s <= 4 * 30.0 + LATEST_S


def test_our_own_network_that_stays_away_is_told_on_time() -> None:
    night = Night()
    night.live(300.0)
    night.hear()
    last_s = night.now_s
    night.watch.connected(False, night.now_s)
    night.pass_s(120.0)
    assert night.told() == ["silent"]
    assert night.news[0][0] - last_s <= 3 * 30.0 + LATEST_S
    assert night.news[0][1].cause == "broker"


def test_invented_cabins_are_neither_rung_by_the_thousand_nor_in_the_way() -> None:
    night = Night()
    night.watch.expect("lapwing", night.now_s)
    for number in range(5 * MOST_CABINS):
        night.hear(night.beat(f"junk-{number}"), retained=True)
    night.hear(night.beat("plover"))
    assert len(night.watch.cabins) <= MOST_CABINS
    assert {"lapwing", "plover"} <= set(night.watch.cabins)
    night.pass_s(100.0)
    assert len(night.news) == MOST_STRANGERS + 2
    assert {"lapwing", "plover"} <= {one.cabin for _, one in night.news}


def test_each_of_a_thousand_cabins_is_told_on_time() -> None:
    night = Night()
    for number in range(1000):
        night.hear(night.beat(f"cabin-{number}"))
    last_s = night.now_s
    night.pass_s(100.0)
    assert len(night.news) == 1000
    assert max(at_s for at_s, _ in night.news) - last_s <= 95.0
