"""What a morning says first: the verdict, and what to do, a sentence or two each."""

import re

from cabinvigil.daemon.review.morning import Morning
from cabinvigil.daemon.review.verdict import CLOSE, DANGEROUS, UNKNOWN, UNSEEN, WELL
from cabinvigil.daemon.text.units_said import Units

_PPM = re.compile(r"\b(\d{1,3}) ?(\d{3}) ppm")

HEADLINES = {
    DANGEROUS: "NOT SAFE",
    UNSEEN: "NOT MONITORED: this night may not have been safe",
    UNKNOWN: "NOT KNOWN: too little was measured to call this night safe",
    CLOSE: "Safe, but close",
    WELL: "Safe by what was measured",
}
"""The verdict's first words."""
ACTS = {
    DANGEROUS: "Do not sleep with the heater lit before the cause is found and fixed.",
    UNSEEN: "Find out why before you sleep here again: `cabinvigil precheck`.",
    UNKNOWN: "Do not count on it: see that oxygen and carbon monoxide are measured for "
    "a whole night.",
    CLOSE: "Give it more fresh air tonight: open the vents wider, or burn on low.",
    WELL: "Nothing that was measured asks for a change.",
}
"""What to do where nothing better is known."""


def headline(found: Morning) -> str:
    """Write the verdict in one line."""
    head = HEADLINES[found.verdict.word]
    reasons = _apart(", ".join(found.verdict.reasons), found.units)
    return f"{head}: {reasons}." if reasons else f"{head}."


def _apart(text: str, units: Units) -> str:
    """Set thousands of ppm apart as the reader's other numbers are."""
    return _PPM.sub(lambda one: units.said("ppm", float(one[1] + one[2]), 0, " "), text)


def is_act_of_advice(found: Morning) -> bool:
    """Return whether the first advice is what to do first.

    What nobody watched comes before what the air that was seen would ask for.
    """
    return bool(found.advice) and found.verdict.word not in (UNSEEN, UNKNOWN)


STILL = "Even so, do not sleep with the heater lit: warm up before bed."
"""A good night is no permission: the next one may have other wind, ice or flame."""


def act(found: Morning) -> str:
    """Return what to do first; after a good night that it permits nothing."""
    told = ACTS[found.verdict.word]
    if is_act_of_advice(found):
        told = f"{found.advice[0].do}."
    return f"{told} {STILL}" if found.verdict.word == WELL else told
