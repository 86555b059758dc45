"""The shared words: a channel is a quantity at a place, and splits back."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.drivers.kit.quantity import (
    QUANTITIES,
    channel_of,
    is_breathed,
    split_channel,
)
from tests.wire import MODEST

NAMES = st.sampled_from(sorted(QUANTITIES))
PLACES = st.just("") | st.from_regex(r"[a-z][a-z0-9]{0,8}", fullmatch=True)


@MODEST
@given(NAMES, PLACES, st.just("") | st.just("__bunk_cell"))
def test_split_gives_back_what_was_joined(name: str, place: str, own: str) -> None:
    """Quantity and place come back from the channel, and from a part's own series."""
    parts = split_channel(channel_of(name, place) + own)
    assert parts is not None
    assert (parts[0].name, parts[1]) == (name, place)


@pytest.mark.parametrize("word", ["", "o2", "o2_pct_", "o2_pct_Up", "o2_pct_a_b"])
def test_other_words_are_no_channels(word: str) -> None:
    """A word that is no channel is not taken for one."""
    assert split_channel(word) is None
    assert not is_breathed(word)


def test_breathed_places() -> None:
    """Nobody breathes the air outside or at the glass."""
    assert is_breathed("o2_pct")
    assert is_breathed("o2_pct_ceiling")
    assert not is_breathed("temp_c_outside")
    assert not is_breathed("temp_c_glass")


def test_ranges_hold_air() -> None:
    """Fresh winter air lies inside every range, and a dead line's oxygen outside."""
    for name, value in (("o2_pct", 20.9), ("co_ppm", 0.0), ("temp_c", -25.0)):
        assert QUANTITIES[name].low <= value <= QUANTITIES[name].high
    assert QUANTITIES["o2_pct"].low > 0
