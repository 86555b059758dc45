"""The life of one alarm: the state table of ISA-18.2 / IEC 62682, whole, in one file.

In plain words.  An alarm rests in `normal`.  When its condition has held for the
on-delay it is `unacknowledged`: it sounds and is told.  A person may acknowledge it;
then it is `acknowledged`: shown, quiet for a limited time, and it sounds again
(re-alarm) when things get worse, when the time is over, or when its step rises.

When the condition goes away an acknowledged alarm returns to `normal`.  One that
nobody acknowledged is `returned-unacknowledged`: nothing sounds, but it stays on the
page until seen.  An alarm that latches does not return by itself: it stays
`latched-unacknowledged`, and sounds, until acknowledged, then `latched-acknowledged`
until reset.  Our design resets it once acknowledged and clear: `high` latches until
acknowledged, and no longer.  An alarm of low weight is acknowledged by design when
it clears (`CLEAR_SELF_ACKNOWLEDGED`), so that a night of chirps asks nothing in
the morning.

Three states stand aside.  `shelved`: a person put it off, for a limited time only.
`suppressed`: another alarm already tells the same cause, by design.
`out-of-service`: taken out by a person, shown for ever until ended.  All three are
still judged, and go back by `RETURN_ALARM` or `RETURN_NORMAL` as the condition then is.

One pair is ours beside the standard's: an alarm that nobody has answered rings again
when things get worse, and is `unacknowledged` as before.

A pair that is not in the table is an error of ours, and raises `NoTransitionError`.

Source: ISA-18.2 (2016) state diagram and its transitions (check values
`isa_states` and `isa_transitions`, unverified there), shelving and suppression
after OPC UA Part 9, 4.8 (read).
"""

from collections.abc import Mapping
from enum import Enum
from types import MappingProxyType

from cabinvigil.daemon.core.model import AlarmState as S


class Trigger(Enum):
    """What can happen to an alarm."""

    RAISE = "condition true"
    REALARM = "worse, or quiet time over"
    ACKNOWLEDGE = "acknowledge"
    CLEAR = "condition clears"
    CLEAR_LATCHING = "condition clears, latching"
    CLEAR_SELF_ACKNOWLEDGED = "condition clears, self-acknowledging"
    RESET = "reset"
    SHELVE = "shelve"
    SUPPRESS = "suppress by design"
    REMOVE = "take out of service"
    RETURN_ALARM = "return, condition true"
    RETURN_NORMAL = "return, condition absent"


class NoTransitionError(RuntimeError):
    """The table has no such pair: a mistake in this program, never in its input."""


T = Trigger

_LIVING: Mapping[tuple[S, T], S] = {
    (S.NORMAL, T.RAISE): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, T.REALARM): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, T.ACKNOWLEDGE): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, T.CLEAR): S.RETURNED,
    (S.UNACKNOWLEDGED, T.CLEAR_LATCHING): S.LATCHED_UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, T.CLEAR_SELF_ACKNOWLEDGED): S.NORMAL,
    (S.ACKNOWLEDGED, T.REALARM): S.UNACKNOWLEDGED,
    (S.ACKNOWLEDGED, T.CLEAR): S.NORMAL,
    (S.ACKNOWLEDGED, T.CLEAR_LATCHING): S.LATCHED_ACKNOWLEDGED,
    (S.ACKNOWLEDGED, T.CLEAR_SELF_ACKNOWLEDGED): S.NORMAL,
    (S.RETURNED, T.ACKNOWLEDGE): S.NORMAL,
    (S.RETURNED, T.RAISE): S.UNACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, T.ACKNOWLEDGE): S.LATCHED_ACKNOWLEDGED,
    (S.LATCHED_UNACKNOWLEDGED, T.RESET): S.RETURNED,
    (S.LATCHED_UNACKNOWLEDGED, T.RAISE): S.UNACKNOWLEDGED,
    (S.LATCHED_ACKNOWLEDGED, T.RESET): S.NORMAL,
    (S.LATCHED_ACKNOWLEDGED, T.RAISE): S.UNACKNOWLEDGED,
}

_IN_LIFE = (
    S.NORMAL,
    S.UNACKNOWLEDGED,
    S.ACKNOWLEDGED,
    S.RETURNED,
    S.LATCHED_UNACKNOWLEDGED,
    S.LATCHED_ACKNOWLEDGED,
)
_ASIDE = {
    T.SHELVE: S.SHELVED,
    T.SUPPRESS: S.SUPPRESSED,
    T.REMOVE: S.OUT_OF_SERVICE,
}

TRANSITIONS: Mapping[tuple[S, T], S] = MappingProxyType(
    dict(_LIVING)
    | {
        (state, trigger): aside
        for state in _IN_LIFE
        for trigger, aside in _ASIDE.items()
    }
    | {(aside, T.RETURN_ALARM): S.UNACKNOWLEDGED for aside in _ASIDE.values()}
    | {(aside, T.RETURN_NORMAL): S.NORMAL for aside in _ASIDE.values()}
)
"""Every transition there is: (state, trigger) -> state."""

SOUNDING = frozenset({S.UNACKNOWLEDGED, S.LATCHED_UNACKNOWLEDGED})
"""The states that are annunciated by sound."""

IN_ALARM = frozenset({S.UNACKNOWLEDGED, S.ACKNOWLEDGED})
"""The states whose condition stands now."""

ASIDE = frozenset(_ASIDE.values())
"""The states that a person or the design put aside."""


def follow(state: S, trigger: T) -> S:
    """Look up where a trigger leads.

    Raises:
        NoTransitionError: the pair is not in the table.
    """
    try:
        return TRANSITIONS[state, trigger]
    except KeyError:
        raise NoTransitionError(
            f"{state.value}: no transition on {trigger.value!r}"
        ) from None


def diagram() -> str:
    """Draw the table as a Mermaid state diagram, for DEVELOPERS.md."""
    merged: dict[tuple[S, S], list[str]] = {}
    for (state, trigger), to in TRANSITIONS.items():
        merged.setdefault((state, to), []).append(trigger.value)
    lines = ["stateDiagram-v2"]
    lines += [f'    state "{state.value}" as {state.name}' for state in S]
    lines.append(f"    [*] --> {S.NORMAL.name}")
    for (state, to), words in merged.items():
        lines.append(f"    {state.name} --> {to.name}: {' / '.join(words)}")
    return "\n".join(lines) + "\n"
