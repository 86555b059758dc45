"""What the running process expects from its first moment."""

import pytest
from attrs import evolve

from cabinvigil.daemon.phone.service import expected
from cabinvigil.daemon.phone.settings import BrokerAccess, PhoneSettings
from cabinvigil.daemon.phone.silence import FORGOTTEN, KeptSilence

RUN = "2026-01-16T21:00:00.000Z"
KEPT = {
    "lapwing": KeptSilence("", 30.0, 30.0, RUN, 7),
    "plover": KeptSilence("silent", 300.0, 30.0, RUN, 9),
    "lapwign": KeptSilence("silent", 300.0, 30.0),
    "teal": KeptSilence(FORGOTTEN, 300.0, 30.0),
}
"""Heard, heard and silent, never heard (a name that the config once had), forgotten."""


@pytest.mark.parametrize(
    ("cabins", "only_these", "names"),
    [
        ((), False, {"lapwing", "plover", "teal"}),
        (("lapwing",), False, {"lapwing", "plover", "teal"}),
        (("lapwing",), True, {"lapwing"}),
        (("lapwign",), False, {"lapwign", "lapwing", "plover", "teal"}),
    ],
)
def test_a_cabin_is_missed_where_it_is_named_or_was_heard(
    cabins: tuple[str, ...], only_these: bool, names: set[str]
) -> None:
    settings = PhoneSettings(broker=BrokerAccess(host="localhost"))
    settings = evolve(settings, cabins=cabins, only_these=only_these)
    found = expected(settings, KEPT)
    assert set(found) == names
    assert len(found) == len(names), "each once"
