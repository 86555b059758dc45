"""The life of an alarm against the standard's own table."""

import itertools
from pathlib import Path
from typing import TypeAlias

import pytest

from cabinvigil.daemon.core.alarm import (
    ASIDE,
    IN_ALARM,
    SOUNDING,
    TRANSITIONS,
    NoTransitionError,
    Trigger,
    diagram,
    follow,
)
from cabinvigil.daemon.core.model import AlarmState as S

T: TypeAlias = Trigger

# ANSI/ISA-18.2-2016, state diagram; IEC 62682 (check values `isa_states`, from memory):
# letter, state, annunciated ('optional' counts as no: we do not sound it).
STATES = {
    "A": (S.NORMAL, False),
    "B": (S.UNACKNOWLEDGED, True),
    "C": (S.ACKNOWLEDGED, False),
    "D": (S.RETURNED, False),
    "E": (S.LATCHED_UNACKNOWLEDGED, True),
    "F": (S.LATCHED_ACKNOWLEDGED, False),
    "G": (S.SHELVED, False),
    "H": (S.SUPPRESSED, False),
    "I": (S.OUT_OF_SERVICE, False),
}
# The standard's transitions (check values `isa_transitions`, from memory).
ROWS = [
    ("A", "alarm condition true", T.RAISE, "B"),
    ("B", "acknowledge", T.ACKNOWLEDGE, "C"),
    ("B", "condition clears, non-latching", T.CLEAR, "D"),
    ("B", "condition clears, latching", T.CLEAR_LATCHING, "E"),
    (
        "B",
        "condition clears, auto-acknowledging design",
        T.CLEAR_SELF_ACKNOWLEDGED,
        "A",
    ),
    ("C", "condition clears, non-latching", T.CLEAR, "A"),
    ("C", "condition clears, latching", T.CLEAR_LATCHING, "F"),
    ("C", "re-alarm", T.REALARM, "B"),
    ("D", "acknowledge", T.ACKNOWLEDGE, "A"),
    ("D", "alarm condition true again", T.RAISE, "B"),
    ("E", "acknowledge", T.ACKNOWLEDGE, "F"),
    ("E", "reset", T.RESET, "D"),
    ("E", "alarm condition true again", T.RAISE, "B"),
    ("F", "reset", T.RESET, "A"),
    ("F", "alarm condition true again", T.RAISE, "B"),
    *((frm, "shelve", T.SHELVE, "G") for frm in "ABCDEF"),
    ("G", "unshelve or time-out", T.RETURN_NORMAL, "A"),
    ("G", "unshelve or time-out", T.RETURN_ALARM, "B"),
    *((frm, "design suppression logic true", T.SUPPRESS, "H") for frm in "ABCDEF"),
    ("H", "design suppression logic false", T.RETURN_NORMAL, "A"),
    ("H", "design suppression logic false", T.RETURN_ALARM, "B"),
    *((frm, "taken out of service", T.REMOVE, "I") for frm in "ABCDEF"),
    ("I", "returned to service", T.RETURN_NORMAL, "A"),
    ("I", "returned to service", T.RETURN_ALARM, "B"),
]
OURS = [
    # Worse while nobody has answered: rings anew, stays where it is.
    ("B", "re-alarm", T.REALARM, "B"),
    # An auto-acknowledging design, already acknowledged: as non-latching.
    (
        "C",
        "condition clears, auto-acknowledging design",
        T.CLEAR_SELF_ACKNOWLEDGED,
        "A",
    ),
]
LISTED = {
    (STATES[frm][0], trigger): STATES[to][0] for frm, _, trigger, to in ROWS + OURS
}


@pytest.mark.parametrize(("frm", "what", "trigger", "to"), ROWS + OURS)
def test_every_row_of_the_standard_is_followed(
    frm: str, what: str, trigger: T, to: str
) -> None:
    """Each transition of ISA-18.2, and our two beside them, leads where it says."""
    assert follow(STATES[frm][0], trigger) is STATES[to][0], what


@pytest.mark.parametrize(
    ("state", "trigger"),
    [pair for pair in itertools.product(S, T) if pair not in LISTED],
)
def test_every_pair_that_is_not_listed_is_refused(state: S, trigger: T) -> None:
    """A pair outside the table is a mistake of this program, and says which."""
    with pytest.raises(NoTransitionError, match=f"^{state.value}: no transition on"):
        follow(state, trigger)


def test_the_table_holds_nothing_else() -> None:
    """The table is the standard's rows and ours, no more and no fewer."""
    assert dict(TRANSITIONS) == LISTED


def test_the_states_are_the_standards_one_to_one() -> None:
    """Nine letters, nine states; those that sound are those it annunciates."""
    assert {state for state, _ in STATES.values()} == set(S)
    assert {state for state, sounds in STATES.values() if sounds} == SOUNDING
    assert {STATES["B"][0], STATES["C"][0]} == IN_ALARM
    assert {STATES[letter][0] for letter in "GHI"} == ASIDE


def test_every_state_can_be_reached_and_left() -> None:
    """From `normal` every state is reached, and from every state `normal` is."""
    for start, goal in itertools.product([S.NORMAL], S):
        assert goal in _reached(start)
        assert start in _reached(goal)


def _reached(start: S) -> set[S]:
    reached = {start}
    while True:
        more = {to for (frm, _), to in TRANSITIONS.items() if frm in reached} - reached
        if not more:
            return reached
        reached |= more


def test_the_diagram_shows_the_whole_table() -> None:
    """Every state and every transition stands in the drawing, and nothing else."""
    lines = [line.strip() for line in diagram().splitlines()]
    assert lines[0] == "stateDiagram-v2"
    assert {line for line in lines if line.startswith("state ")} == {
        f'state "{state.value}" as {state.name}' for state in S
    }
    drawn = set()
    for line in lines:
        if "-->" in line and ":" in line:
            ends, words = line.split(": ")
            frm, to = ends.split(" --> ")
            drawn |= {(S[frm], T(word), S[to]) for word in words.split(" / ")}
    assert drawn == {(frm, trigger, to) for (frm, trigger), to in TRANSITIONS.items()}
    assert "[*] --> NORMAL" in lines


def test_the_developers_page_shows_the_diagram_of_this_table() -> None:
    """What DEVELOPERS.md draws is what the program does."""
    page = Path(__file__).parents[2] / "DEVELOPERS.md"
    if not page.exists():
        pytest.skip("DEVELOPERS.md is not written yet")
    assert diagram() in page.read_text(encoding="utf-8")
