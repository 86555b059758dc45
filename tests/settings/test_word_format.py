"""A field that cannot be filled is reported in our words, not the interpreter's."""

import pytest

from cabinvigil.daemon.core.sentences import fields_of


@pytest.mark.parametrize(
    ("variant", "said"),
    [
        ("a {o2_pct:.1f", "has no partner"),
        ("a {o2_pct:{}", "has no partner"),
        ("a } b", "has no partner"),
        ("{o2_pct:.1q}", "'o2_pct' has an unknown format, '.1q'"),
    ],
)
def test_a_broken_field_is_told_in_our_words(variant: str, said: str) -> None:
    """`unmatched '{' in format spec` helps nobody who translates sentences."""
    with pytest.raises(ValueError, match=said):
        fields_of(variant)
