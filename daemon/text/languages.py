"""What speaks a cabin's language, and what English alone: said once, where it shows."""

from collections.abc import Mapping
from types import MappingProxyType

NAMES: Mapping[str, str] = MappingProxyType({"de": "German", "fr": "French"})
"""Of the languages that ship besides English."""
ENGLISH = "en"


def partly_spoken(language: object) -> str:
    """Return what speaks another language than English; '' where all is English.

    Args:
        language: as the config has it, `de`.
    """
    if not isinstance(language, str) or language in ("", ENGLISH):
        return ""
    name = NAMES.get(language, f"the language '{language}'")
    return f"Alarms and their texts speak {name}; all else is English as yet."
