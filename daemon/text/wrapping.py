"""Paragraphs broken into lines, a number never apart from its unit: pure."""

import re
import textwrap

from cabinvigil.daemon.text.units import UNITS, sign_of

_WORDS = {"per_h", "in"}
"""Units whose words are English ones too."""
_SIGNS = sorted(
    {"kelvin", "minutes", "hours", "seconds", "days", "years", "cm2", "m3", "m3/h"}
    | {sign_of(unit) for unit in UNITS if unit not in _WORDS},
    key=lambda sign: (-len(sign), sign),
)
_APART = re.compile(
    r"(?<=[\d)]) (?=(?:" + "|".join(map(re.escape, _SIGNS)) + r")(?![\w²³/]))"
    r"|(?<=\b\d\d)(?<!:\d\d) (?=\d{3}\b)|(?<=\b\d{3}) (?=\d{3}\b)"  # 17 046
)
_JOINT = "\u00a0"


def joined(text: str) -> str:
    """Return a text in which no line can end within a number, or before its unit."""
    return _APART.sub(_JOINT, text)


def wrap(
    text: str,
    width: int,
    first: str = "",
    others: str = "",
    *,
    break_on_hyphens: bool = True,
) -> list[str]:
    """Break a paragraph into lines; none where there is no text.

    Args:
        text: the paragraph.
        width: columns of the widest line.
        first: what the first line begins with.
        others: what each other line begins with.
        break_on_hyphens: a line may end behind a hyphen.
    """
    lines = textwrap.wrap(
        joined(text),
        width,
        initial_indent=first,
        subsequent_indent=others,
        break_on_hyphens=break_on_hyphens,
    )
    return [line.replace(_JOINT, " ") for line in lines]
