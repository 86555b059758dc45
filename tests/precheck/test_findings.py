"""What is well before bed, what to mind, what is not: each check by itself."""

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.precheck import findings as precheck
from cabinvigil.daemon.precheck.findings import Finding, WatchStatus, status_of
from cabinvigil.daemon.precheck.supply import (
    charge,
    cold_share,
    supply,
    usable_share,
)

NOW = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


def status(**changes: Any) -> WatchStatus:
    known: dict[str, Any] = {
        "readings": {},
        "doubtful": frozenset(),
        "alarms": {},
        "faults": {},
    }
    return WatchStatus(**(known | changes))


VITAL_READINGS = {"o2_pct": 20.6, "co_ppm__bunk": 0.0}


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
    assert words(precheck.air(status(readings=VITAL_READINGS))) == ["good"]


@pytest.mark.parametrize(
    ("readings", "doubtful", "named"),
    [
        ({}, set(), "oxygen and carbon monoxide"),
        ({"o2_pct": 20.6}, set(), "but carbon monoxide"),
        ({"o2_pct": 20.6, "co_ppm__bunk": 0.0}, {"co_ppm__bunk"}, "carbon monoxide"),
        ({"co_ppm": 0.0, "o2_hpa": 190.0}, set(), "but oxygen"),
    ],
)
def test_air_that_is_not_measured_is_not_called_good(
    readings: dict[str, float], doubtful: set[str], named: str
) -> None:
    """No alarm stands where nothing could raise one."""
    (one,) = precheck.air(status(readings=readings, doubtful=frozenset(doubtful)))
    assert (one.subject, one.word) == ("air", "not checked")
    assert f"{named}: not measured now" in one.text
    assert not precheck.is_ready([one])


def test_fellows_that_disagree_are_bad() -> None:
    """Unmixed air is to mind; without shared quantities nothing is said."""
    alarms = {
        "sensors-disagree/rh_pct": ("fault", "They disagree"),
        "stratified/o2_pct": ("low", "Unmixed"),
    }
    shared = {"rh_pct", "co2_ppm"}
    assert words(precheck.fellows(status(alarms=alarms), shared)) == ["bad", "mind"]
    assert words(precheck.fellows(status(), set())) == []


def test_parts_that_read_nothing_do_not_agree() -> None:
    """What is in doubt is compared with nothing either; what is, is counted."""
    shared = {"rh_pct", "co2_ppm"}
    readings = {"rh_pct__a": 40.0, "rh_pct__b": 41.0, "co2_ppm__a": 700.0}
    (one,) = precheck.fellows(status(readings=readings), shared)
    assert one.word == "good"
    assert "agree on 1 of 2 shared quantities; the others" in one.text
    both = readings | {"co2_ppm__b": 710.0}
    (one,) = precheck.fellows(status(readings=both), shared)
    assert one == Finding("agreement", "good", "sensors agree on 2 shared quantities")
    doubtful = frozenset({"rh_pct__b"})
    for bare in (status(), status(readings=readings, doubtful=doubtful)):
        (one,) = precheck.fellows(bare, shared)
        assert one.word == "not checked"


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
        ({}, 34.0, "", "bad", "free some space"),
        ({}, None, "", "bad", "does not exist"),
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


def test_v5_a_lead_battery_at_rest_is_flat_at_11_8_volts() -> None:
    """Tables of the trade, at rest: 12.0 V is a quarter in some, 30 % in another.

    Read for full, three quarters, half, a quarter and flat: 12.6 or 12.7, 12.4, 12.2,
    12.0 and 11.6 or 11.8 V.
    """
    assert charge(11.8) == charge(10.0) == 0.0
    assert charge(12.0) == pytest.approx(0.25)
    assert charge(12.2) == charge(24.4) == pytest.approx(0.5)
    assert charge(12.7) == charge(13.9) == 1.0
    assert charge(12.3) == pytest.approx(0.625)


@pytest.mark.parametrize(
    ("volts", "temp_c", "share"),
    [
        (12.7, 25.0, 0.5), (12.7, 40.0, 0.5), (12.7, -10.0, 0.3), (12.7, None, 0.3),
        (12.4, 25.0, 0.25), (12.2, 25.0, 0.0), (11.8, 25.0, 0.0), (12.7, -60.0, 0.15),
    ],
)  # fmt: skip
def test_v5_hours_count_to_half_and_less_in_the_cold(
    volts: float, temp_c: float | None, share: float
) -> None:
    """At 11.8 V, flat, "about 32 h left" was said; unknown air is taken for cold."""
    assert usable_share(volts, 11.0, temp_c) == pytest.approx(share)


@pytest.mark.parametrize(
    ("temp_c", "times"), [(15.6, 1.11), (10.0, 1.19), (4.4, 1.30), (-1.1, 1.40),
                          (-6.7, 1.59), (-10.0, 1.65)],
)  # fmt: skip
def test_v5_cold_takes_what_makers_and_worksheets_say(
    temp_c: float, times: float
) -> None:
    """Capacity to be bought, in times of the warm one: our share is its inverse.

    Two public sizing worksheets, and at -10 °C a maker's note; 0.02 for their rounding.
    """
    assert cold_share(temp_c) == pytest.approx(1.0 / times, abs=0.02)


def test_v5_a_lithium_battery_is_asked_for_and_never_taken_by_its_volts() -> None:
    """13.2 V may be nine tenths or four: it counts from full, and is to be minded."""
    volts = status(readings={"supply_v": 13.2, "supply_a": -0.5})
    found = supply(volts, 9.0, 20.0, 11.6, is_lithium=True)
    assert found.word == "mind"
    assert "about 32 h left if it was charged full" in found.text
    short = supply(volts, 9.0, 5.0, 11.6, is_lithium=True)
    assert (short.word, "about 8 h left" in short.text) == ("bad", True)
    fell = status(readings={"supply_v": 13.2, "supply_a": -0.5}, supply_hours=20.0)
    assert supply(fell, 9.0, 20.0, 11.6, is_lithium=True).word == "good"


@pytest.mark.parametrize(
    ("changes", "ah", "word", "part"),
    [
        ({}, None, "mind", "not measured"),
        ({"supply_v": 12.6}, None, "mind", "add --battery-ah"),
        ({"supply_v": 12.6, "supply_a": -0.4}, None, "mind", "add --battery-ah"),
        ({"supply_v": 13.8, "supply_a": 2.0}, None, "good", "charging with 2.0 A"),
        # 110 Ah x (1 - 0.5) x 0.6 / 0.5 A: 66 h; with 8 Ah, 5; at half, none.
        ({"supply_v": 12.7, "supply_a": -0.5}, 110.0, "good", "over 48 h left"),
        ({"supply_v": 12.7, "supply_a": -0.5}, 8.0, "bad", "about 5 h left to half"),
        ({"supply_v": 12.2, "supply_a": -0.5}, 80.0, "bad", "about 0 h left"),
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
    """The watch has seen it fall faster; and an alarm on it goes before both."""
    volts = {"supply_v": 12.6, "supply_a": -0.5}
    short = supply(status(readings=volts, supply_hours=6.0), 9.0, 100.0, 11.0)
    assert short == Finding(
        "supply",
        "bad",
        "12.6 V, about 6 h left by its voltage drop so far (the night is 9): charge it",
    )
    long = supply(status(readings=volts, supply_hours=20.0), 9.0, None, 11.0)
    assert long.word == "good"
    rings = status(readings=volts, alarms={"supply-low": ("medium", "Battery low")})
    assert supply(rings, 9.0, None, 11.0).word == "bad"


@pytest.mark.parametrize(
    ("charge_pct", "hours", "word", "text"),
    [
        (80.0, None, "good", "80 % charged, and not seen to fall"),
        (50.0, None, "good", "50 % charged, and not seen to fall"),
        (49.0, None, "mind", "49 % charged, and not seen to fall: charge it"),
        (80.0, 12.0, "good", "80 % charged, about 12 h left by its fall so far"),
        (99.0, 90.0, "good", "99 % charged, over 48 h left by its fall so far"),
        (80.0, 9.0, "good", "about 9 h left by its fall so far (the night is 9)"),
        (
            80.0,
            8.9,
            "bad",
            "about 9 h left by its fall so far (the night is 9): charge",
        ),
    ],
)
def test_a_gauge_tells_how_full_the_supply_is(
    charge_pct: float, hours: float | None, word: str, text: str
) -> None:
    """A lithium cell's volts tell little: its gauge does, and its fall the hours."""
    full = status(readings={"charge_pct__ups": charge_pct}, supply_hours=hours)
    found = supply(full, 9.0, None, 11.0)
    assert (found.word, text in found.text) == (word, True), found.text


def test_with_both_the_battery_behind_is_told_by_its_volts() -> None:
    """The cell keeps the machine alive for minutes; the battery carries the night."""
    both = {"supply_v": 12.7, "supply_a": -0.5, "charge_pct": 20.0}
    assert supply(status(readings=both), 9.0, 110.0, 11.0).text.startswith("12.7 V, ")


@pytest.mark.parametrize("rows", [1, 2, 4])
def test_batteries_in_a_row_share_their_volts(rows: int) -> None:
    """12, 24 and 48 V."""
    assert charge(12.2 * rows) == pytest.approx(0.5)
    assert charge(11.8 * rows) == 0.0


def test_one_bad_thing_makes_it_not_ready() -> None:
    """The verdict names it, counts what to mind, and says what was not checked."""
    well = [Finding("a", "good", ""), Finding("b", "mind", "")]
    assert precheck.is_ready(well)
    assert precheck.verdict(well) == "READY for the night. 1 to check."
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
    assert precheck.verdict(left) == "NOT FULLY CHECKED: sounder, phone. 1 to check."


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
    assert ("co2-level", "mind", "It is shelved: it will not sound.") in told
    assert "o2-low" not in [subject for subject, _, _ in told]


def test_v5_the_fewer_hours_are_told_and_below_half_is_minded() -> None:
    """Falling slowly lasts till the watch is dark; a lead battery is to keep half."""
    full = status(readings={"supply_v": 12.7, "supply_a": -0.5}, supply_hours=40.0)
    assert "about 12 h left to half" in supply(full, 9.0, 20.0, 11.0).text
    low = status(readings={"supply_v": 12.1, "supply_a": -0.5}, supply_hours=40.0)
    found = supply(low, 9.0, None, 11.0)
    assert (found.word, "below half" in found.text) == ("mind", True)
    assert supply(low, 9.0, None, 11.0, is_lithium=True).word == "good"


def test_nobody_goes_to_bed_in_a_trial() -> None:
    """The second phone would be told nothing: it is ended first, then aired."""
    answer = {
        "alarms": [],
        "readings": {},
        "faults": {},
        "doubtful": [],
        "trial": {"text": "roof vent", "left_s": 60.0, "until": ""},
    }
    (found,) = precheck.watch(status_of(answer, runs=True), is_emulated=False)
    assert (found.subject, found.word) == ("trial", "bad")
    assert "`cabinvigil trial end`" in found.text
    over = status_of({**answer, "trial": None}, runs=True)
    assert list(precheck.watch(over, is_emulated=False)) == []
