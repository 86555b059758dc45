"""What is well before bed, what to mind, what is not: each check by itself."""

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.precheck import findings as precheck
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus, status_of
from cabinvigil.daemon.precheck.supply import charge, supply

NOW = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


def status(**changes: Any) -> WatchStatus:
    known: dict[str, Any] = {
        "readings": {},
        "doubtful": frozenset(),
        "alarms": {},
        "faults": {},
    }
    return WatchStatus(**(known | changes))


def words(findings: Any) -> list[str]:
    return [one.word for one in findings]


def test_a_status_is_read_as_the_watch_answers_it() -> None:
    """What stands, answered or not; what is aside or over stands no more."""
    states = ("unacknowledged", "acknowledged", "suppressed", "returned-unacknowledged")
    states += ("shelved", "out-of-service")
    answer = {
        "readings": {"o2_pct": 20.6},
        "doubtful": ["co_ppm"],
        "alarms": [
            {"alarm": state, "state": state, "priority": "low", "text": "x"}
            for state in states
        ],
        "faults": {"log": "full"},
        "supply_hours": 7,
    }
    found = status_of(answer, runs=True)
    assert list(found.alarms) == ["unacknowledged", "acknowledged"]
    put = {"shelved": "shelved", "out-of-service": "out of service"}
    assert found.aside == put
    assert (found.supply_hours, found.runs, found.doubtful) == (7.0, True, {"co_ppm"})


def test_what_stands_in_the_air_is_bad_or_to_mind() -> None:
    """A part's own alarms are told at the part; `low` is to mind."""
    alarms = {
        "o2-low": ("high", "Oxygen low"),
        "condensing": ("low", "Wet surfaces"),
        "sensor-stale/o2_pct": ("fault", "No reading"),
        "sensors-disagree/rh_pct": ("fault", "They disagree"),
        "watch-fault/log": ("fault", "full"),
        "supply-low": ("medium", "Battery low"),
    }
    assert list(precheck.air(status(alarms=alarms))) == [
        Finding("o2-low", "bad", "Oxygen low"),
        Finding("condensing", "mind", "Wet surfaces"),
    ]
    assert words(precheck.air(status())) == ["good"]


def test_fellows_that_disagree_are_bad() -> None:
    """Unmixed air is to mind; without shared quantities nothing is said."""
    alarms = {
        "sensors-disagree/rh_pct": ("fault", "They disagree"),
        "stratified/o2_pct": ("low", "Unmixed"),
    }
    assert words(precheck.fellows(status(alarms=alarms), 2)) == ["bad", "mind"]
    assert words(precheck.fellows(status(), 2)) == ["good"]
    assert words(precheck.fellows(status(), 0)) == []


def test_a_cabin_that_measures_no_oxygen_or_carbon_monoxide_is_not_ready() -> None:
    """Each is named."""
    found = list(precheck.measured(["co2_ppm", "co_ppm"]))
    assert [one.subject for one in found] == ["oxygen"]
    assert words(found) == ["bad"]
    assert list(precheck.measured(["o2_pct", "co_ppm"])) == []


def test_the_watchs_own_faults_are_told_once() -> None:
    """But for those that a check of its own tells."""
    found = precheck.host_faults(
        status(faults={"log": "full", "trend": "stumbled"}), ["log"]
    )
    assert list(found) == [Finding("trend", "bad", "stumbled")]


@pytest.mark.parametrize(
    ("faults", "free_mb", "error", "word", "part"),
    [
        ({}, 3000.0, "", "good", "3000 MB free (a week takes 35)"),
        ({}, 35.0, "", "good", ""),
        ({}, 34.0, "", "bad", "clear the disk"),
        ({}, None, "", "bad", "is not there"),
        ({}, 3000.0, "Read-only file system", "bad", "cannot be written: Read-only"),
        ({"log": "the disk is full"}, 3000.0, "", "bad", "the disk is full"),
    ],
)
def test_the_log_needs_room_for_a_week(
    faults: dict[str, str], free_mb: float | None, error: str, word: str, part: str
) -> None:
    """5 MB a night at the most (design, section 9), seven nights."""
    found = precheck.log(status(faults=faults), free_mb, error, "/var/log/cabinvigil")
    assert found.word == word
    assert part in found.text


def test_a_clock_is_set_believed_or_wrong() -> None:
    """Before 2025 no clock can be right; without a network nobody vouches for it."""
    lost = datetime(1970, 1, 1, tzinfo=UTC)
    assert precheck.clock(lost, is_synchronised=True).word == "bad"
    assert precheck.clock(NOW, is_synchronised=True).word == "good"
    assert precheck.clock(NOW, is_synchronised=None).word == "mind"


@pytest.mark.parametrize(
    ("cpu_c", "sags", "word"),
    [
        (48.0, False, "good"),
        (76.0, None, "mind"),
        (80.0, None, "bad"),
        (48.0, True, "bad"),
        (None, None, "not checked"),
    ],
)
def test_the_computer_is_cool_and_well_fed(
    cpu_c: float | None, sags: bool | None, word: str
) -> None:
    """It slows itself from 80 °C on (as in daemon/service/host.py)."""
    assert precheck.computer(cpu_c, is_under_volted=sags).word == word


def test_laxer_limits_are_said_aloud() -> None:
    """Each by itself; they do not stop the night."""
    found = list(precheck.limits(["cold: the low step is at 2", "o2-low: gone"]))
    assert words(found) == ["mind", "mind"]
    assert "o2-low: gone" in found[1].text
    assert words(precheck.limits([])) == ["good"]


def test_a_lead_battery_is_half_full_at_12_06_volts() -> None:
    """The usual table of the trade, at rest (from memory)."""
    assert charge(12.06) == pytest.approx(0.5)
    assert charge(12.7) == charge(13.9) == 1.0
    assert charge(10.0) == 0.0
    assert charge(24.12) == pytest.approx(0.5)
    assert charge(12.13) == pytest.approx(0.55)


@pytest.mark.parametrize(
    ("changes", "ah", "word", "part"),
    [
        ({}, None, "mind", "nothing measures it"),
        ({"supply_v": 12.6}, None, "mind", "name --battery-ah"),
        ({"supply_v": 12.6, "supply_a": -0.4}, None, "mind", "name --battery-ah"),
        ({"supply_v": 13.8, "supply_a": 2.0}, None, "good", "charging with 2.0 A"),
        # 60 Ah x (0.5 - 0.06) / 0.5 A: 53 h; with 5 Ah, 4.4 h.
        ({"supply_v": 12.06, "supply_a": -0.5}, 60.0, "good", "over 48 h left"),
        ({"supply_v": 12.06, "supply_a": -0.5}, 5.0, "bad", "about 4 h left"),
        ({"supply_v__a": 12.6, "supply_v__b": 11.9}, None, "mind", "11.9 V"),
    ],
)
def test_the_supply_must_last_the_night(
    changes: dict[str, float], ah: float | None, word: str, part: str
) -> None:
    """Nine hours; what cannot be told is to mind, never good."""
    found = supply(status(readings=changes), 9.0, ah, 11.0)
    assert (found.word, part in found.text) == (word, True), found.text


def test_the_batterys_own_fall_goes_before_the_table() -> None:
    """The watch has seen it fall; and an alarm on it goes before both."""
    volts = {"supply_v": 12.6, "supply_a": -0.5}
    short = supply(status(readings=volts, supply_hours=6.0), 9.0, 100.0, 11.0)
    assert short == Finding(
        "supply",
        "bad",
        "12.6 V, about 6 h left by its fall so far (the night is 9): charge it",
    )
    long = supply(status(readings=volts, supply_hours=20.0), 9.0, None, 11.0)
    assert long.word == "good"
    rings = status(readings=volts, alarms={"supply-low": ("medium", "Battery low")})
    assert supply(rings, 9.0, None, 11.0).word == "bad"


def test_one_bad_thing_makes_it_not_ready() -> None:
    """The verdict names it, counts what to mind, and says what was not checked."""
    well = [Finding("a", "good", ""), Finding("b", "mind", "")]
    assert precheck.is_ready(well)
    assert precheck.verdict(well) == "READY for the night. 1 to mind."
    computer = [*well, Finding("computer", "not checked", "")]
    assert precheck.is_ready(computer)
    assert precheck.verdict(computer).endswith("Not checked: computer.")
    left = [*well, Finding("phone", "not checked", "")]
    bad = [*left, Finding("log", "bad", ""), Finding("log", "bad", "")]
    assert not precheck.is_ready(bad)
    assert precheck.verdict(bad) == "NOT READY: log. Not checked: phone."


def test_what_was_not_checked_is_not_ready() -> None:
    """Nothing proved that anybody would wake: a verdict of its own."""
    left = [
        Finding("a", "mind", ""),
        *(Finding(s, "not checked", "") for s in ("buzzer", "phone", "computer")),
    ]
    assert not precheck.is_ready(left)
    assert precheck.verdict(left) == "NOT FULLY CHECKED: buzzer, phone. 1 to mind."


@given(st.lists(st.sampled_from(["good", "mind", "bad", "not checked"])))
def test_the_verdict_is_never_ready_with_something_bad(these: list[Any]) -> None:
    """Whatever stands beside it, in any order; nor with something unchecked."""
    findings = [Finding(f"s{n}", word, "") for n, word in enumerate(these)]
    begins = "READY"
    if "bad" in these:
        begins = "NOT READY"
    elif "not checked" in these:
        begins = "NOT FULLY CHECKED"
    assert precheck.is_ready(findings) is (begins == "READY")
    assert precheck.verdict(findings).startswith(begins)


def test_an_alarm_put_aside_is_told_before_bed() -> None:
    """Whoever shelved it in the afternoon forgets by night; it costs a line."""
    answer = {
        "readings": {},
        "alarms": [
            {"alarm": "co2-level", "state": "shelved", "priority": "low", "text": ""},
            {"alarm": "o2-low", "state": "suppressed", "priority": "low", "text": ""},
        ],
        "faults": {},
    }
    told = [
        (f.subject, f.word, f.text) for f in precheck.air(status_of(answer, runs=True))
    ]
    assert ("co2-level", "mind", "It is shelved: it will not ring.") in told
    assert "o2-low" not in [subject for subject, _, _ in told]
