"""A silence across restarts and hold-ups of this process, and what its end says."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.phone.inbound import BeatHeard
from cabinvigil.daemon.phone.silence import (
    AGAIN_S,
    FORGOTTEN,
    KeptSilence,
    SilenceWatch,
)
from tests.phone.test_silence import LATEST_S, Night


def test_a_restart_of_this_process_tells_nothing_twice() -> None:
    night = Night()
    night.live(60.0)
    night.pass_s(100.0)
    assert night.told() == ["silent"]
    kept = night.watch.kept(night.now_s)["lapwing"]
    night.watch = SilenceWatch()
    night.watch.connected(True, night.now_s)
    night.watch.expect("lapwing", night.now_s, kept)
    night.pass_s(600.0)
    assert night.told() == ["silent"]
    night.hear()
    night.pass_s(1.0)
    assert night.told() == ["silent", "back"]
    assert night.news[-1][1].for_s == pytest.approx(730.0, abs=5.0)


def test_restarts_put_off_no_repetition() -> None:
    """Restarted each ten minutes for a day: told as often as without."""
    night = Night()
    night.live(60.0)
    night.pass_s(100.0)
    for _ in range(24 * 6):
        kept = night.watch.kept(night.now_s)["lapwing"]
        night.watch = SilenceWatch()
        night.watch.connected(True, night.now_s)
        night.watch.expect("lapwing", night.now_s, kept)
        night.pass_s(600.0)
    assert set(night.told()[1:]) == {"again"}
    assert 24 < len(night.news) < 40
    assert night.news[1][0] - night.news[0][0] == pytest.approx(AGAIN_S, abs=1.0)
    assert night.news[-1][0] - night.news[-2][0] > 5 * 3600.0


def test_what_nobody_was_told_of_has_no_end_to_tell() -> None:
    """It was stopped before we came; then it starts."""
    night = Night()
    night.watch.presence("lapwing", "stopped", night.now_s)
    night.pass_s(60.0)
    assert night.watch.kept(night.now_s) == {}
    night.watch.presence("lapwing", "watching", night.now_s)
    night.live(120.0)
    assert night.told() == []


def test_the_end_says_how_grave_what_is_over_was() -> None:
    night = Night()
    night.live(60.0)
    night.watch.presence("lapwing", "stopped", night.now_s)
    night.pass_s(60.0)
    night.watch.presence("lapwing", "watching", night.now_s)
    night.live(60.0)
    night.pass_s(100.0)
    night.live(60.0)
    assert night.told() == ["stopped", "back", "silent", "back"]
    assert [one.over for _, one in night.news if one.kind == "back"] == [2, 5]


def test_a_cabin_that_lived_before_our_restart_has_three_heartbeats() -> None:
    night = Night()
    night.live(60.0)
    kept = night.watch.kept(night.now_s)["lapwing"]
    assert kept == KeptSilence("", 30.0, 30.0, night.run, night.seq)
    night.watch = SilenceWatch()
    night.watch.expect("lapwing", night.now_s, kept)
    night.pass_s(92.0)
    assert night.told() == []
    night.pass_s(3.0)
    assert night.told() == ["silent"]


@pytest.mark.parametrize("presence", ["", "watching", "lost", "stopped"])
def test_a_cabin_that_is_forgotten_is_told_no_more_until_it_is_heard(
    presence: str,
) -> None:
    night = Night()
    kept = KeptSilence(FORGOTTEN, 0.0, 30.0)
    for _ in range(3):
        night.watch = SilenceWatch()
        night.watch.connected(True, night.now_s)
        night.watch.expect("lapwing", night.now_s, kept)
        if presence:
            night.watch.presence("lapwing", presence, night.now_s)
        night.pass_s(12 * 3600.0)
        assert night.watch.cabins == ()
        kept = night.watch.kept(night.now_s)["lapwing"]
    assert night.told() == []
    night.watch.presence("lapwing", "watching", night.now_s)
    night.live(60.0)
    assert night.watch.cabins == ("lapwing",)
    night.pass_s(100.0)
    assert night.told() == ["back", "silent"]


def test_a_cabin_that_is_given_up_at_the_broker_is_told_no_more() -> None:
    """Silent for good: somebody says `stopped` at the broker for it."""
    night = Night()
    night.live(60.0)
    night.pass_s(100.0)
    night.watch.presence("lapwing", "stopped", night.now_s)
    for _ in range(3):
        night.pass_s(12 * 3600.0)
        kept = night.watch.kept(night.now_s)["lapwing"]
        night.watch = SilenceWatch()
        night.watch.connected(True, night.now_s)
        night.watch.expect("lapwing", night.now_s, kept)
        night.watch.presence("lapwing", "stopped", night.now_s)
    assert night.told() == ["silent", "stopped"]


@pytest.mark.parametrize("frozen_s", [6.0, 25.0, 3600.0])
def test_what_this_process_slept_through_is_no_silence(frozen_s: float) -> None:
    """Stopped, or on a machine that does nothing: no heartbeat was heard meanwhile."""
    for looks_first in (False, True):
        night = Night(period_s=5.0)
        night.live(60.0)
        waited = BeatHeard(
            "lapwing", night.run, night.seq + 1, night.now_s + 2.0 - night.born_s, 5.0
        )
        night.now_s += frozen_s
        if looks_first:
            night.pass_s(0.1)
        night.seq += 1
        night.hear(waited)
        night.pass_s(4.0)
        night.live(60.0)
        assert night.told() == []


def test_to_be_held_up_puts_no_silence_off_for_long() -> None:
    """Again and again, and each time as long as it heard nothing for that reason."""
    night = Night(period_s=5.0)
    night.live(60.0)
    died_s, slept_s = night.now_s, 0.0
    while not night.news:
        night.now_s, slept_s = night.now_s + 6.0, slept_s + 6.0
        night.pass_s(4.0)
    assert night.now_s - died_s - slept_s < 15.0 + LATEST_S + 5.0
    night.hear()
    late = night.now_s + 15.0 + LATEST_S
    night.pass_s(30.0)
    assert night.told() == ["silent", "back", "silent"]
    assert night.news[-1][0] <= late, "what was slept through before counts no more"


def test_a_rehearsal_is_no_watch_that_is_back() -> None:
    """Of the same name, at the same broker: its air is invented."""
    night = Night()
    night.live(60.0)
    night.pass_s(100.0)
    real, night.run, night.seq = night.run, "2026-01-16T21:30:00.000Z", 0
    night.hear(replace(night.beat(), is_emulated=True))
    night.pass_s(1.0)
    assert night.told() == ["silent", "rehearsed"]
    night.pass_s(100.0)
    night.run, night.seq = real, 1000
    night.live(60.0)
    assert night.told() == ["silent", "rehearsed", "silent", "back"]
