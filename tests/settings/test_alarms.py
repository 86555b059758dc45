"""Limits: stricter freely, laxer only aloud, and no guard lost in silence."""

from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.settings.config import (
    ConfigError,
    Mistake,
    check,
    load,
)
from tests.known import CABIN, KNOWN, LIMITS, Desk, swap


def test_stricter_is_free_and_laxer_must_be_accepted(tmp_path: Path) -> None:
    """One sentence for each thing that became laxer; accepted, it is kept."""
    desk = Desk(tmp_path)
    strict = swap("[alarm.o2-falling]", "[alarm.o2-low]\nsteps = [{ at = 20.0 }]\n")
    strict = strict.replace("limit_per_h = 2.0", "")
    assert desk.load(strict).laxer == ()
    lax = strict.replace("20.0", "18.5")
    mistake = desk.only(lax)
    assert mistake.key == "alarm.o2-low"
    assert mistake.file == str(desk.cabin)
    assert "18.5" in mistake.what
    assert "accept_laxer = true" in mistake.mend
    accepted = desk.load(lax + "accept_laxer = true\n")
    assert accepted.laxer == ("o2-low: the high step is at 18.5, packaged 19.5",)


@pytest.mark.parametrize(
    ("line", "laxer"),
    [
        ("on_delay_s = 6.0", True),
        ("on_delay_s = 4.0", False),
        ("off_delay_s = 59.0", True),
        ("off_delay_s = 61.0", False),
        ("ack_s = 301.0", True),
        ("ack_s = 299.0", False),
        ("again_step = 0.6", True),
        ("again_step = 0.4", False),
        ("shelve_s = 1.0", True),
        ("latch = false", True),
        ("latch = true", False),
        ("removable = true", True),
        ('suppressed_by = ["o2-falling"]', True),
    ],
)
def test_later_quieter_or_easier_to_lose_is_laxer(
    tmp_path: Path, line: str, laxer: bool
) -> None:
    """Delays and quiet times are limits too."""
    desk = Desk(tmp_path)
    text = CABIN + "\n[alarm.o2-low]\n" + line + "\n"
    assert bool(desk.check(text)) is laxer
    kept = desk.load(text + "accept_laxer = true\n").laxer
    assert bool(kept) is laxer


def test_a_lower_priority_is_laxer(tmp_path: Path) -> None:
    """A rule with one priority for all cases cannot be made quieter in passing."""
    desk = Desk(tmp_path)
    lower = swap("limit_per_h = 2.0", 'priority = "low"')
    assert "its priority is low, packaged medium" in desk.only(lower).what
    assert desk.check(swap("limit_per_h = 2.0", 'priority = "high"')) == []


def test_what_a_rule_refuses_is_laid_to_the_file_that_says_it(tmp_path: Path) -> None:
    """The cabin's file where that changed the alarm, else the limits file in use."""
    packaged = files("cabinvigil.config").joinpath("limits.toml").read_text("utf-8")
    cabin, limits = tmp_path / "cabin.toml", tmp_path / "own.toml"
    head = '[cabin]\nname = "lapwing"\n[i2c.main]\ndevice = "/dev/i2c-1"\n'
    part = '[part.baro]\nkind = "bme280"\nbus = "main"\n'
    cabin.write_text(head + part + "[alarm.o2-low]\ndead_band = -1.0\n", "utf-8")
    (mistake,) = refused(cabin)
    assert (mistake.key, mistake.file) == ("alarm.o2-low", str(cabin))
    assert "dead_band is -1; give 0 or more" in mistake.what
    limits.write_text(
        packaged.replace("dead_band = 0.2", "dead_band = -1.0", 1), "utf-8"
    )
    cabin.write_text(head + '[watch]\nlimits = "own.toml"\n' + part, "utf-8")
    (mistake,) = refused(cabin)
    assert (mistake.key, mistake.file) == ("alarm.o2-low", str(limits))


def refused(file: Path) -> tuple[Mistake, ...]:
    """The mistakes for which a file is refused."""
    with pytest.raises(ConfigError) as told:
        load(file)
    return told.value.mistakes


def test_own_limits_are_measured_against_the_packaged(tmp_path: Path) -> None:
    """A limits file of one's own is no way around the packaged limits."""
    desk = Desk(tmp_path)
    own = desk.folder / "mine.toml"
    own.write_text(LIMITS.replace("{ at = 19.5 }", "{ at = 19.0 }"))
    text = swap("tick_s = 1", 'limits = "mine.toml"')
    mistake = desk.only(text)
    assert mistake.file == str(own)
    assert "19" in mistake.what
    own.write_text(
        own.read_text().replace('kind = "limit"', 'kind = "limit"\naccept_laxer = true')
    )
    assert desk.load(text).laxer == ("o2-low: the high step is at 19, packaged 19.5",)


def test_no_guard_is_lost_in_silence(tmp_path: Path) -> None:
    """An alarm left out, or a rule that nobody names, stops the start."""
    desk = Desk(tmp_path)
    own = desk.folder / "mine.toml"
    own.write_text(
        LIMITS[LIMITS.index("[alarm.o2-falling]") :].replace('["o2-low"]', "[]")
    )
    told = [str(one) for one in desk.check(swap("tick_s = 1", 'limits = "mine.toml"'))]
    assert any("alarm.o2-low is missing" in one for one in told)
    assert len(told) == 1, "that its rule has no alarm follows from it"
    more = replace(KNOWN, rule_names=lambda: (*KNOWN.rule_names(), "other"))
    desk.cabin.write_text(CABIN)
    (mistake,) = check(desk.cabin, packaged_limits=desk.limits, known=more)
    assert "no alarm that the rule other judges" in str(mistake)


def test_a_rule_named_and_missing_and_a_broken_one_stop_the_start(
    tmp_path: Path,
) -> None:
    """A deleted or damaged rule file can never silently remove a guard."""
    desk = Desk(tmp_path)
    gone = replace(KNOWN, rule_names=lambda: ("drop",))
    desk.cabin.write_text(CABIN)
    (mistake,) = check(desk.cabin, packaged_limits=desk.limits, known=gone)
    assert mistake.key == "alarm.o2-low.kind"
    assert "known: drop" in mistake.mend

    def broken(name: str) -> Any:
        raise SyntaxError("invalid syntax (limit.py, line 3)")

    mistakes = check(
        desk.cabin, packaged_limits=desk.limits, known=replace(KNOWN, rule=broken)
    )
    assert all("file is broken" in one.what for one in mistakes)
    hollow = replace(KNOWN, rule=lambda name: object())
    mistakes = check(desk.cabin, packaged_limits=desk.limits, known=hollow)
    assert all("no `Params`" in one.what for one in mistakes)


def test_an_alarm_of_ones_own(tmp_path: Path) -> None:
    """A new id with a kind of the house is one alarm more, and never laxer."""
    desk = Desk(tmp_path)
    text = CABIN + (
        '\n[alarm.roof-o2]\nkind = "limit"\nquantity = "o2_pct"\nplace = "roof"\n'
        'steps = [{ at = 19.0, priority = "medium" }]\nplaces = ["roof"]\n'
        "shares = { a = 0.5 }\n"
    )
    got = desk.load(text)
    assert list(got.alarms)[-1] == "roof-o2"
    assert got.alarms["roof-o2"].params.place == "roof"
    assert got.alarms["roof-o2"].params.places == ("roof",)


@pytest.mark.parametrize(
    ("line", "key", "word"),
    [
        ("steps = 19.5", "steps", "a list"),
        ("steps = [19.5]", "steps[0]", "a table"),
        ('steps = [{ at = "19.5" }]', "steps[0].at", "at = 19.5`"),
        ("steps = [{ at = 1 }, { att = 2 }]", "steps[1].att", "`at`"),
        ("steps = [{ }]", "steps[0].at", "is missing"),
        ('steps = [{ at = 1, priority = "top" }]', "steps[0].priority", "medium"),
        ("places = 1", "places", "a list"),
        ('places = ["a", 1]', "places[1]", "not a text"),
        ("shares = 3", "shares", "a table"),
        ('shares = { a = "x" }', "shares.a", "'x'"),
    ],
)
def test_mistakes_inside_a_rules_own_limits(
    tmp_path: Path, line: str, key: str, word: str
) -> None:
    """Lists and tables of a rule are told with the place inside them."""
    desk = Desk(tmp_path)
    text = CABIN + f"\n[alarm.o2-low]\naccept_laxer = true\n{line}\n"
    mistakes = desk.check(text)
    told = {one.key: str(one) for one in mistakes}
    assert word in told[f"alarm.o2-low.{key}"]
