"""A certified alarm's contact: high at once; only itself and a person end it."""

import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.history import begin
from cabinvigil.daemon.core.model import (
    Act,
    ActKind,
    Priority,
    Record,
    SourceFault,
)
from cabinvigil.daemon.core.setup import Setup
from cabinvigil.daemon.core.snapshot import restore, to_plain
from cabinvigil.daemon.core.vital import ALONE, UNHEARD, is_vital, loss_of
from cabinvigil.daemon.rules import bilge, contact
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.settings.words import renderer
from tests.core.scenario import Night, cabin

HIGH, MEDIUM, FAULT = Priority.HIGH, Priority.MEDIUM, Priority.FAULT
PARTS = """
[cabin]
name = "lapwing"
[part.bunk-co]
kind = "frame9_co"
port = "/dev/serial/by-path/x"
"""


def table(name: str, line: str, means: str) -> str:
    return f'[part.{name}]\nkind = "contact"\nline = "{line}"\nmeans = "{means}"\n'


@cache
def composed(*contacts: str, more: str = "") -> Setup:
    """Compose a cabin with contacts, each `name:means`, by the packaged limits."""
    text = PARTS
    for number, one in enumerate(contacts):
        name, means = one.split(":")
        text += table(name, f"GPIO{number}", means)
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cabin.toml"
        file.write_text(text + more, encoding="utf-8")
        return compose_settings(load(file), renderer("en")).setup


def night(*contacts: str, more: str = "") -> Night:
    return Night(composed(*contacts, more=more))


# --- what it says ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("means", "said", "pattern"),
    [
        ("smoke", "The smoke alarm sounds. Get everyone outside now.", "temporal-four"),
        (
            "gas",
            "The gas alarm sounds. Get everyone outside now: no flames, no switches.",
            "temporal-four",
        ),
        (
            "co",
            (
                "The carbon monoxide alarm sounds. Get everyone outside now, heater "
                "off only on the way."
            ),
            "temporal-four",
        ),
    ],
)
def test_its_word_is_high_at_once_in_a_sentence_of_its_own(
    means: str, said: str, pattern: str
) -> None:
    """Without delay, beside our own part that measures nothing at all."""
    one = night(f"own:{means}")
    key = f"contact_{means}"
    one.air({"co_ppm": 0.0, key: 0.0}, 1.0)
    one.air({"co_ppm": 0.0, key: 1.0}, 1.0)
    (alert,) = [alert for _, alert in one.alerts()]
    assert (alert.alarm, alert.priority, alert.text) == (
        f"contact-{means}", HIGH, said,
    )  # fmt: skip
    assert one.state.sound.pattern == pattern
    assert one.now == 2.0


def test_a_float_wakes_and_asks_to_pump() -> None:
    """Ten seconds up are no wave; the sound is that of getting up, not of gas."""
    one = night("float:bilge")
    one.hold({"contact_bilge": 0.0}, 5.0, 1.0)
    one.hold({"contact_bilge": 1.0}, 9.0, 1.0)
    assert one.alerts() == []
    one.hold({"contact_bilge": 1.0}, 3.0, 1.0)
    (alert,) = [alert for _, alert in one.alerts()]
    assert (alert.priority, alert.text) == (
        MEDIUM, "Water in the bilge: the float is up. Get up and pump now.",
    )  # fmt: skip
    assert one.state.sound.pattern == "three-pulse"


def test_the_second_of_two_alarms_rings_anew_and_each_is_named() -> None:
    one = night("fore:smoke", "aft:smoke")
    keys = ("contact_smoke__fore", "contact_smoke__aft")
    one.air(dict.fromkeys(keys, 0.0), 1.0)
    one.air({keys[1]: 1.0, keys[0]: 0.0}, 1.0)
    assert (
        one.alerts()[0][1].text
        == "The smoke alarm sounds: aft. Get everyone outside now."
    )
    one.hold({keys[1]: 1.0, keys[0]: 0.0}, 10.0, 1.0)
    one.act("ack")
    assert one.state.sound.pattern == "quiet"
    one.air(dict.fromkeys(keys, 1.0), 1.0)
    assert one.state.sound.pattern == "temporal-four"


def test_the_smoke_alarms_own_sound_is_ours_only_where_it_is_asked_for() -> None:
    """ISO 8201's temporal-three; and it falls back with the priority it is for."""
    more = '[alarm.contact-smoke]\nsound = "temporal-three"\n'
    one = night("own:smoke", "other:co", more=more)
    rest = {"contact_smoke": 0.0, "contact_co": 0.0}
    one.air(rest, 1.0)
    one.air({**rest, "contact_smoke": 1.0}, 1.0)
    assert one.state.sound.pattern == "temporal-three"
    state, _ = restore(one.setup, to_plain(one.state), one.now, down_s=2.0)
    assert state.sound.pattern == "temporal-three"
    assert one.setup.sounds["contact-co"] == "temporal-four"


# --- nothing calms it -----------------------------------------------------------------


def rung(means: str = "co", **more: Any) -> Night:
    one = night(f"own:{means}", **more)
    one.hold({f"contact_{means}": 0.0, "co_ppm": 0.0}, 10.0, 1.0)
    one.hold({f"contact_{means}": 1.0, "co_ppm": 0.0}, 5.0, 1.0)
    return one


def test_it_ends_when_the_contact_opens_and_somebody_answers() -> None:
    one = rung()
    one.hold({"contact_co": 0.0, "co_ppm": 0.0}, 600.0, 1.0)
    assert one.now_in("contact-co") == "latched-unacknowledged"
    assert one.state.sound.pattern == "temporal-four"
    one.act("ack")
    one.air({"contact_co": 0.0}, 3.0)
    one.air({"contact_co": 0.0}, 1.0)
    assert one.now_in("contact-co") == "normal"


def test_an_answer_is_quiet_for_five_minutes_and_then_it_rings_again() -> None:
    one = rung()
    one.act("ack")
    assert one.state.sound.pattern == "quiet"
    one.hold({"contact_co": 1.0, "co_ppm": 0.0}, 297.0, 1.0)
    assert one.state.sound.pattern == "quiet"
    one.hold({"contact_co": 1.0, "co_ppm": 0.0}, 5.0, 1.0)
    assert one.state.sound.pattern == "temporal-four"


def test_a_line_that_is_lost_while_it_rings_leaves_it_ringing() -> None:
    """A fire may burn the wire: the last word counts, answered or not."""
    one = rung("smoke")
    one.act("ack")
    one.take(SourceFault("own", "port-missing", "It is gone."))
    one.hold({"co_ppm": 0.0}, 2000.0, 5.0)
    assert one.now_in("contact-smoke") == "unacknowledged"
    assert one.standing("contact-smoke").priority is HIGH
    one.act("ack")
    one.hold({"co_ppm": 0.0}, 400.0, 5.0)
    assert one.state.sound.pattern == "temporal-four"


def test_no_all_clear_follows_it() -> None:
    """Our parts did not see it: that they see nothing says nothing."""
    one = rung()
    one.hold({"contact_co": 0.0, "co_ppm": 0.0}, 60.0, 1.0)
    one.act("ack")
    one.hold({"contact_co": 0.0, "co_ppm": 0.0}, 1800.0, 5.0)
    assert not any("go back in" in alert.text for _, alert in one.alerts())


def test_one_that_is_over_and_acknowledged_keeps_nobody_out_for_good() -> None:
    """A weekly test of the alarm's own button: no all-clear, and nothing owed."""
    one = rung()
    one.hold({"contact_co": 0.0, "co_ppm": 0.0, "o2_pct": 20.9}, 60.0, 1.0)
    assert "contact-co" in one.state.all_clear_owed
    one.act("ack")
    one.hold({"contact_co": 0.0, "co_ppm": 0.0, "o2_pct": 20.9}, 200.0, 5.0)
    assert one.state.all_clear_owed, "not before five good minutes"
    one.hold({"contact_co": 0.0, "co_ppm": 0.0, "o2_pct": 20.9}, 200.0, 5.0)
    assert not one.state.all_clear_owed
    assert not any("go back in" in alert.text for _, alert in one.alerts())


def test_a_test_of_the_parts_keeps_no_phone_waiting_for_it() -> None:
    """And it is over: a certified alarm is no part of it."""
    one = night("own:smoke")
    one.hold({"contact_smoke": 0.0, "co_ppm": 0.0}, 5.0, 1.0)
    one.take(Act(ActKind.BUMP_TEST, by="socket"))
    one.hold({"contact_smoke": 0.0, "co_ppm": 250.0}, 10.0, 1.0)
    assert one.alerts() == []
    one.air({"contact_smoke": 1.0, "co_ppm": 250.0}, 1.0)
    assert [alert.alarm for _, alert in one.alerts()] == ["contact-smoke"]
    one.air({"contact_smoke": 1.0, "co_ppm": 0.0}, 1.0)
    ended = [r for r in one.records("bump-test") if r.fields["state"] == "ended"]
    assert len(ended) == 1


def test_a_trial_keeps_it_from_no_phone() -> None:
    """Nobody is inside, and the cabin burns: the second phone is told too."""
    one = night("own:smoke")
    one.hold({"contact_smoke": 0.0, "co_ppm": 0.0}, 5.0, 1.0)
    one.take(Act(ActKind.TRIAL, by="socket", text="a vent", for_s=3600.0))
    one.hold({"contact_smoke": 1.0, "co_ppm": 0.0}, 400.0, 1.0)
    told = [alert for _, alert in one.alerts() if alert.alarm == "contact-smoke"]
    assert {alert.escalation for alert in told} >= {0, 2}


# --- silence --------------------------------------------------------------------------


@pytest.mark.parametrize("means", ["smoke", "gas", "co", "bilge"])
def test_a_guard_that_is_not_heard_wakes_as_a_lost_gas_sensor_does(means: str) -> None:
    key = f"contact_{means}"
    one = night(f"own:{means}")
    one.hold({key: 0.0, "co_ppm": 0.0}, 120.0, 1.0)
    one.hold({"co_ppm": 0.0}, 60.0, 1.0)
    standing = one.standing(f"sensor-stale/{key}")
    assert (standing.priority, standing.sounds) == (MEDIUM, True)
    assert "is down" in standing.text
    assert standing.text.endswith("Check its wire now.")


def test_a_door_that_is_not_heard_is_a_fault() -> None:
    one = night("own:door")
    one.hold({"contact_door": 0.0, "co_ppm": 0.0}, 120.0, 1.0)
    one.hold({"co_ppm": 0.0}, 60.0, 1.0)
    assert one.standing("sensor-stale/contact_door").priority is FAULT


def test_a_guard_with_a_fellow_that_is_heard_is_a_fault() -> None:
    one = night("fore:smoke", "aft:smoke", "other:co")
    keys = ("contact_smoke__fore", "contact_smoke__aft", "contact_co")
    one.hold(dict.fromkeys(keys, 0.0), 60.0, 1.0)
    history = one.state.history
    assert loss_of(history, keys[0]).priority is FAULT
    assert loss_of(history, "contact_co").priority is MEDIUM
    assert loss_of(history, "contact_co").wording == UNHEARD
    one.hold({keys[0]: 0.0, "contact_co": 0.0}, 60.0, 1.0)
    assert loss_of(one.state.history, keys[0]).priority is MEDIUM
    assert loss_of(one.state.history, "co_ppm").wording == ALONE


def test_contacts_are_vital_but_for_a_door() -> None:
    found = {means for means in ("smoke", "gas", "co", "door", "bilge")
             if is_vital(f"contact_{means}")}  # fmt: skip
    assert found == {"smoke", "gas", "co", "bilge"}
    assert not is_vital("contact")


def test_a_contact_may_rest_for_weeks() -> None:
    one = night("own:smoke")
    for _ in range(9 * 24):
        one.hold({"contact_smoke": 0.0, "co_ppm": 0.3}, 3600.0, 600.0)
    assert one.transitions("sensor-stuck/contact") == []


# --- the rules by themselves ----------------------------------------------------------


@pytest.mark.parametrize("rule", [contact, bilge])
def test_what_is_not_known_to_rest_is_not_judged(rule: Any) -> None:
    means = "smoke" if rule is contact else "bilge"
    params = rule.Params(means) if rule is contact else rule.Params()
    setup = cabin(keys=[f"contact_{means}"])
    assert rule.judge(params, begin(setup.layout, 0.0), 0.0) is None
    empty = cabin(keys=["co_ppm"])
    assert rule.judge(params, begin(empty.layout, 0.0), 0.0) is None
    one = Night(setup)
    one.air({f"contact_{means}": 0.0}, doubtful=[f"contact_{means}"])
    assert rule.judge(params, one.state.history, one.now) is None
    one.air({f"contact_{means}": 0.0})
    assert rule.judge(params, one.state.history, one.now).priority is None
    one.air({}, 40.0)
    assert rule.judge(params, one.state.history, one.now) is None
    one.air({f"contact_{means}": 1.0}, doubtful=[f"contact_{means}"])
    verdict = rule.judge(params, one.state.history, one.now)
    assert (verdict.priority, verdict.hold) == (
        (HIGH, HIGH) if rule is contact else (MEDIUM, MEDIUM)
    )
    assert verdict.evidence == {"series": f"contact_{means}", "closed": 1}
    assert (verdict.severity, dict(verdict.facts)) == (1.0, {})
    assert rule.urgent(params) == {"contact": (("above", 1.0),)}
    assert rule.gravest(params) is verdict.priority


def test_a_float_may_be_made_high() -> None:
    assert bilge.gravest(bilge.Params("high")) is HIGH
    one = Night(cabin(keys=["contact_bilge__a", "contact_bilge__b"]))
    one.air({"contact_bilge__a": 0.0, "contact_bilge__b": 1.0})
    verdict = bilge.judge(bilge.Params("high"), one.state.history, one.now)
    assert verdict is not None
    assert (verdict.priority, dict(verdict.facts)) == (HIGH, {"part": "b"})


# --- a door ---------------------------------------------------------------------------


def test_a_door_that_opens_is_marked_once_and_not_as_the_watch_starts() -> None:
    one = night("hatch:door")
    one.air({"contact_door": 1.0}, 1.0)
    one.hold({"contact_door": 0.0}, 90.0, 1.0)
    assert one.records("mark") == []
    one.air({"contact_door": 1.0}, 1.0)
    (mark,) = one.records("mark")
    assert mark == Record("mark", {"text": "door open", "by": "door"}, urgent=True)
    for _ in range(5):
        one.hold({"contact_door": 0.0}, 5.0, 1.0)
        one.air({"contact_door": 1.0}, 1.0)
    assert len(one.records("mark")) == 1
    one.hold({"contact_door": 0.0}, 60.0, 1.0)
    one.air({"contact_door": 1.0}, 1.0)
    assert len(one.records("mark")) == 2


@pytest.mark.parametrize(("opened_s_ago", "is_fault"), [(20.0, False), (90.0, True)])
def test_a_door_that_moved_explains_a_leap_for_a_minute(
    opened_s_ago: float, is_fault: bool
) -> None:
    one = night("hatch:door")
    one.hold({"contact_door": 0.0, "co_ppm": 0.0}, 300.0, 1.0)
    one.hold({"contact_door": 1.0, "co_ppm": 0.0}, opened_s_ago, 1.0)
    one.air({"contact_door": 1.0, "co_ppm": 4000.0}, 1.0)
    assert one.standing("sensor-jump/co_ppm").stands is is_fault


@pytest.mark.parametrize("means", ["smoke", "gas", "co"])
def test_whoever_was_sent_a_danger_is_sent_its_end(means: str) -> None:
    """No all-clear can follow it, so both phones learn that it is over, and no more."""
    one, key = night(f"own:{means}"), f"contact_{means}"
    calm = {"co_ppm": 0.0, key: 0.0}
    one.air(calm, 1.0)
    one.hold(calm | {key: 1.0}, 700.0, 5.0)
    one.hold(calm, 60.0, 5.0)
    assert not [alert for _, alert in one.alerts() if alert.alarm == "contact-over"]
    one.act("ack")
    one.hold(calm, 1200.0, 5.0)
    over = [alert for _, alert in one.alerts() if alert.alarm == "contact-over"]
    assert sorted(alert.escalation for alert in over) == [0, 2]
    assert over[0].text.startswith("Over and acknowledged: the certified alarm. Stay")
