"""A night in which a contact rang is told in words, and has something to change."""

from cabinvigil.daemon.review.tonight import CERTIFIED
from cabinvigil.daemon.review.verdict import RINGING
from cabinvigil.daemon.settings.config import example


def test_each_contact_that_rings_is_told_in_words() -> None:
    contacts = {name for name in example().alarms if name.startswith("contact-")}
    assert contacts <= RINGING.keys()
    assert contacts - {"contact-gas"} == CERTIFIED.keys()
