"""A look begins with the state in a word of its own, and with what to do."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.report.live_view import COLUMNS, PastLooks, frame
from tests.report.test_live_view import STATUS

GOOD: dict[str, Any] = {
    **STATUS,
    "readings": {"o2_pct": 20.4, "co_ppm": 1.0},
    "alarms": [],
    "faults": {},
    "estimate": None,
}


def ahead(*minutes: float | None) -> Any:
    return {"estimate": {"o2_minutes_to_19_5": list(minutes)}}


SENT = {"can_be_told": True, "sent_out": True}
UNSENT = {"can_be_told": True, "sent_out": False}


def alarm(priority: str, text: str = "Odd.", state: str = "acknowledged") -> Any:
    told = {"alarm": "x", "state": state, "priority": priority, "text": text}
    return {"alarms": [told]}


@pytest.mark.parametrize(
    ("more", "word", "act"),
    [
        ({}, "SAFE", "Nothing to do."),
        (alarm("high", "Bad. Get out."), "OUT", "Get out."),
        (alarm("high"), "OUT", "Get everyone outside now."),
        ({"airing": {"can_be_told": True}}, "OUT", "Stay outside until the"),
        ({"airing": {"can_be_told": False}}, "OUT", "Stay outside: no sensor"),
        ({"airing": UNSENT}, "LOOK", "Keep the vents open until the"),
        ({**alarm("medium", "Bad. Open it."), "airing": UNSENT}, "WAKE", "Open it."),
        ({**alarm("low", "Wet. Open a vent."), "airing": UNSENT}, "LOOK", "Open a"),
        ({**alarm("medium", "Bad. Open it."), "airing": SENT}, "OUT", "Stay outside"),
        (alarm("medium", "Bad. Open it."), "WAKE", "Open it."),
        (alarm("medium"), "WAKE", "Open the door and vents now."),
        (alarm("of another version"), "WAKE", "Open the door and vents now."),
        (alarm("low", "Wet. Open a vent."), "LOOK", "Open a vent."),
        (alarm("high", state="shelved"), "LOOK", "Check what is listed below."),
        (alarm("low", state="returned-unacknowledged"), "LOOK", "Check what is"),
        ({"faults": {"log": "Full. Empty it."}}, "LOOK", "Empty it."),
        ({"trial": {"text": "all shut"}}, "TRIAL", "Stay outside: nobody is to be"),
        ({**alarm("high", "Bad. Go."), "trial": {"text": "x"}}, "OUT", "Go."),
        ({**alarm("medium"), "trial": {"text": "x"}}, "TRIAL", "Stay outside"),
        ({"readings": {"o2_pct": 20.4}}, "LOOK", "Nothing here measures carbon"),
        ({"readings": {"o2_pct": 19.4, "co_ppm": 1.0}}, "LOOK", "Open a vent"),
        ({"readings": {"o2_pct": 20.4, "co_ppm": 31.0}}, "LOOK", "Open a vent"),
        ({"doubtful": ["co_ppm"]}, "LOOK", "No reliable reading of carbon"),
        (
            {"doubtful": ["co_ppm"], "warming_up": {"co_ppm": "koje-co"}},
            "LOOK",
            "koje-co is not reliable yet (warming up).",
        ),
        (ahead(17.0, 23.0, None), "LOOK", "Open a vent: oxygen may be low"),
        (ahead(17.0, None, None), "LOOK", "Open a vent: oxygen may be low"),
        (ahead(90.0, None, None), "SAFE", "Nothing to do."),
        ({"readings": {"o2_pct_outside": 20.4}}, "NOT KNOWN", "Open the door"),
        ({"readings": {}}, "NOT KNOWN", "Open the door and vents"),
        ({"alarms": None}, "NOT KNOWN", "Open the door and vents"),
    ],
)
def test_it_begins_with_the_state_in_a_word_and_what_to_do(
    more: dict[str, Any], word: str, act: str
) -> None:
    """Safe only where nothing is said against it, and both gases are read."""
    lines = frame(GOOD | more, PastLooks(), 0.0).splitlines()
    assert lines[0] == word
    assert lines[1].startswith(act[:COLUMNS].rpartition(" ")[0])


@given(
    st.dictionaries(
        st.sampled_from([*STATUS, "trial", "airing", "doubtful"]),
        st.none() | st.booleans() | st.text() | st.lists(st.text()),
    )
)
def test_whatever_is_missing_nothing_is_called_safe(lacks: dict[str, Any]) -> None:
    """What a watch does not say, or says oddly, is no good news."""
    word = frame(GOOD | {"readings": {}} | lacks, PastLooks(), 0.0).splitlines()[0]
    assert word != "SAFE"
