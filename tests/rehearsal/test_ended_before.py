"""A rehearsal that ends before what its night is about says so."""

import pytest

from cabinvigil.daemon.rehearsal.account import TRAILERS_CLOCK
from cabinvigil.daemon.rehearsal.nights import NIGHTS, ended_before


@pytest.mark.parametrize("name", NIGHTS)
def test_whatever_comes_after_the_end_is_told(name: str) -> None:
    """At the very end is too late too; a whole night keeps nothing back."""
    night = NIGHTS[name]
    assert ended_before(night, None, TRAILERS_CLOCK) == ()
    moments = [one.at_s for one in night.changes if one.words]
    moments += [one.from_s for one in night.failures]
    for at_s in moments:
        assert ended_before(night, at_s / 3600.0, TRAILERS_CLOCK)


def test_it_is_named_with_its_moment() -> None:
    """`--hours 2` of the night `alarm` was silent, and said "nothing woke"."""
    (told,) = ended_before(NIGHTS["alarm"], 2.0, TRAILERS_CLOCK)
    assert told.startswith("It ends before what comes at 00:00: the certified CO alarm")
