"""Text that came from outside, on its way to a person: one line is one line. Pure.

Control and format characters steer a terminal, turn the direction of writing, or hide;
a newline makes a line that nobody here wrote.
"""

from typing import Any
from unicodedata import category

MOST_LEVELS = 20
"""Values in values: lines of a log have six; a thousand would end a reader."""


def is_shown(letter: str) -> bool:
    """Return whether a letter is something to see, or a space."""
    return letter.isprintable() or category(letter) == "Zs"


def plain(text: str) -> str:
    """Return a text as one line; what would steer is left out, or becomes a space."""
    if text.isprintable():
        return text
    return "".join(
        letter if is_shown(letter) else " " * letter.isspace() for letter in text
    )


def all_plain(value: Any, levels: int = MOST_LEVELS) -> Any:
    """Return plain JSON values with every text in them as one line, keys too.

    Args:
        value: as a JSON decoder gives it.
        levels: that may stand in each other.

    Raises:
        ValueError: more do, which no writer here makes.
    """
    if isinstance(value, str):
        return plain(value)
    if levels == 0 and isinstance(value, dict | list):
        raise ValueError("the values are nested too deeply")
    if isinstance(value, dict):
        return {plain(key): all_plain(one, levels - 1) for key, one in value.items()}
    if isinstance(value, list):
        return [all_plain(one, levels - 1) for one in value]
    return value
