"""How alarms are mentioned within a line: what is so, without number or act."""

import re
from collections.abc import Sequence

MENTIONED = 4
MENTIONED_LONGEST = 110
"""So many alarms, in so many characters, are named in one line; of more the number is
said.  A sentence has room for 140, its own words included."""

_END_OF_WHAT = re.compile(r"\s?: |\. |\.$")


def what(text: str) -> str:
    """Return the part of a sentence that says what is so: up to its number or act."""
    return _END_OF_WHAT.split(text, maxsplit=1)[0]


def several(words: Sequence[str]) -> str:
    """Name several in one line; of those that do not fit, only the number is said."""
    for count in range(min(len(words), MENTIONED), 0, -1):
        left = len(words) - count
        more = [f"+{left}"] if left else []
        line = "; ".join([*words[:count], *more])
        if len(line) <= MENTIONED_LONGEST:
            return line
    return f"{words[0][: MENTIONED_LONGEST - 1]}…"
