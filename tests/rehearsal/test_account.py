"""The account of a rehearsal hides neither a flame that went out nor a lost trial."""

from dataclasses import replace

import pytest

from cabinvigil.daemon.core.model import Act, ActKind, Record
from cabinvigil.daemon.rehearsal.account import account, not_begun
from cabinvigil.daemon.rehearsal.cabin import Truth
from cabinvigil.daemon.rehearsal.narrator import Narrator
from cabinvigil.daemon.rehearsal.nights import NightAct
from tests.rehearsal.test_narrator import NOW, UTC

LIT = Truth(0.0, 18.3, 9000.0, 20.0, 60.0, 20.0, 0.5, 1.6, 2.0, 5.0, 0.1, 0.0)


@pytest.mark.parametrize(
    ("o2_pct", "burn_kw", "is_said"),
    [(17.99, 0.0, True), (18.0, 1.6, False), (20.0, 0.0, False)],
)
def test_a_flame_that_went_out_by_itself_is_no_comfort(
    o2_pct: float, burn_kw: float, is_said: bool
) -> None:
    """Oxygen stopped at 18 %, and nothing said why."""
    later = replace(LIT, time_s=60.0, o2_pct=o2_pct, burn_kw=burn_kw)
    text = "\n".join(account("shut", [LIT, later]))
    assert ("cut-off put the flame out at 22:01" in text) == is_said
    assert ("burns on" in text) == is_said


def test_a_trial_that_did_not_begin_is_named() -> None:
    """It was announced as two, and its alarms were real."""
    acts = [
        NightAct(at_s, Act(ActKind.TRIAL, by="socket", text=text))
        for at_s, text in ((10.0, "one"), (20.0, "two"), (90.0, "later"))
    ]
    narrator = Narrator(lambda _line: None, UTC)
    begun = Record("trial", {"state": "begun", "text": "one"})
    ended = Record("trial", {"state": "ended", "text": "two"})
    for record in (begun, ended):
        narrator.handle(record, NOW)
    told = not_begun(acts, narrator.trials, 60.0)
    assert told.startswith("The trial 'two' did not begin")
    assert not_begun(acts, ["one", "two"], 60.0) == ""
    assert not_begun(acts, [], 60.0).startswith("The trials 'one' and 'two' did")
