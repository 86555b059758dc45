"""The night `alarm`: a certified CO alarm sounds; our own CO part stands at nothing.

Its contact alone wakes, within one tick, and nothing ends it but that it opens and that
somebody answers.
"""

import pytest

from cabinvigil.daemon.core.model import Alert, Sound
from cabinvigil.daemon.rehearsal.fitted import ADDED, CO_ALARM, fit, staged
from cabinvigil.daemon.rehearsal.nights import ALARM_S, QUIET_S
from cabinvigil.daemon.settings.config import example
from tests.nights.played import Played, play_night

pytestmark = pytest.mark.xdist_group("night-alarm")  # played once, by one worker

TICK_S = 1.0
PRESS_S = ALARM_S + 30.0
ALARM = "contact-co"


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Played:
    folder = tmp_path_factory.mktemp("alarm")
    return play_night("alarm", folder, tick_s=TICK_S, hours=QUIET_S / 3600.0 + 0.2)


def test_our_own_part_shows_nothing_while_the_air_is_bad(night: Played) -> None:
    """So that nothing but the contact can wake anybody."""
    co_ppm = [truth.co_ppm for truth in night.truths if truth.time_s <= ALARM_S]
    assert max(co_ppm) > 100.0
    assert night.rings("co-") == []
    assert not any(line["priority"] in ("high", "medium")
                   for line in night.rings() if line["alarm"] != ALARM)  # fmt: skip


def test_it_is_high_within_one_tick_and_the_phone_knows(night: Played) -> None:
    (ring,) = night.rings(ALARM)
    assert ring["priority"] == "high"
    assert ring["text"].startswith("The carbon monoxide alarm sounds.")
    alerts = [
        (at_s, one.escalation)
        for at_s, one in night.commands
        if isinstance(one, Alert) and one.alarm == ALARM
    ]
    assert ALARM_S <= alerts[0][0] <= ALARM_S + TICK_S
    sounds = [
        at_s
        for at_s, one in night.commands
        if isinstance(one, Sound) and one.pattern == "temporal-four"
    ]
    assert ALARM_S <= sounds[0] <= ALARM_S + TICK_S


def test_an_answer_quiets_it_for_five_minutes_and_no_longer(night: Played) -> None:
    """Answered half asleep after 30 s; unanswered then, it goes to the second phone."""
    changes = [
        (at_s, one.pattern) for at_s, one in night.commands if isinstance(one, Sound)
    ]
    assert changes[1][0] == pytest.approx(PRESS_S, abs=TICK_S)
    assert changes[1][1] == "quiet"
    again_s, pattern = changes[2]
    assert again_s == pytest.approx(PRESS_S + 300.0, abs=2 * TICK_S)
    assert pattern == "temporal-four"
    told = [
        at_s
        for at_s, one in night.commands
        if isinstance(one, Alert) and one.alarm == ALARM and one.escalation == 2
    ]
    assert told
    assert told[0] < QUIET_S


def test_nothing_calms_it_until_it_opens_and_somebody_answers(night: Played) -> None:
    states = [line["state"] for line in night.alarms if line["alarm"] == ALARM]
    assert states == [
        "unacknowledged",
        "acknowledged",
        "unacknowledged",
        "latched-unacknowledged",
        "latched-acknowledged",
        "normal",
    ]
    stood = [line for line in night.alarms if line["alarm"] == ALARM]
    opened_s = next(
        at_s
        for (at_s, one) in night.commands
        if getattr(one, "alarm", "") == ALARM
        and getattr(getattr(one, "state", None), "value", "") == states[3]
    )
    assert opened_s >= QUIET_S
    fell = next(line for line in stood if line["state"] == states[3])
    assert fell["text"] == (
        "The carbon monoxide alarm is silent now, but the air may still be bad. "
        "Get everyone outside now."
    )
    assert stood[-1]["was"] == "latched-acknowledged"


def test_it_gives_no_all_clear(night: Played) -> None:
    texts = [one.text for _, one in night.commands if isinstance(one, Alert)]
    texts += [line["text"] for line in night.alarms if line["alarm"] == ALARM]
    assert not any("go back in" in text or "better" in text for text in texts)


def test_a_config_without_such_a_contact_gets_one_for_the_night() -> None:
    usual = example()
    full = staged("alarm", usual)
    assert full.parts[CO_ALARM].means == "co"
    assert ADDED in fit("alarm", usual).notes
    assert staged("alarm", full) is full
    assert ADDED not in fit("alarm", full).notes
    assert staged("quiet", usual) is usual
    assert CO_ALARM not in usual.parts
