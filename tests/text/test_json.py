"""JSON is total, whatever it is asked to hold."""

import json

import pytest

from cabinvigil.daemon.text.json import dumps, json_line, rounded, rounded_each


def test_log_and_phone_get_it_compact_and_whoever_asks_in_ascii() -> None:
    value = {"temp_c": 20.5, "text": "12 °C"}
    assert dumps(value) == '{"temp_c":20.5,"text":"12 °C"}'
    assert json_line(value) == '{"temp_c": 20.5, "text": "12 \\u00b0C"}'


@pytest.mark.parametrize(
    ("value", "written"),
    [
        ([float("nan"), 1.0], [None, 1.0]),
        ({"a": {"b": float("inf")}}, {"a": {"b": None}}),
        (frozenset({"b", "a"}), ["a", "b"]),
    ],
)
def test_what_json_has_no_form_for_is_null_or_words(
    value: object, written: object
) -> None:
    """A strict reader takes it: NaN is no JSON (RFC 8259, section 6)."""
    for encode in (dumps, json_line):
        read = json.loads(encode(value), parse_constant=pytest.fail)
        assert read == written


def test_numbers_that_nobody_knows_stay_unknown() -> None:
    assert (rounded(None, 2), rounded(1.005, 1)) == (None, 1.0)
    assert rounded_each(None) is None
    assert rounded_each((0.12345, None, 2.0)) == [0.123, None, 2.0]
    assert rounded_each((1.26, None), 1) == [1.3, None]
