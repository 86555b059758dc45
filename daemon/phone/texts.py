"""What the phone service says itself, in the language of its own config; pure.

What a cabin's monitor says is passed on as it is: it has the cabin's language.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

from cabinvigil.daemon.core.sentences import MessageCatalog, span


@dataclass(frozen=True, slots=True)
class PhoneTexts:
    """The forms of its messages, and how a length of time is said."""

    forms: Mapping[str, str]
    """By key of `[silence]` in a message file."""
    words: MessageCatalog

    @classmethod
    def of(cls, words: MessageCatalog, english: MessageCatalog) -> Self:
        """Take a language's forms; one that it lacks is said in English."""
        return cls({**english.silence, **words.silence}, words)

    def __call__(self, form: str, **facts: object) -> str:
        """Fill a form.

        Args:
            form: its key.
            facts: what it tells.
        """
        return self.forms[form].format_map(facts)

    def span(self, seconds: float) -> str:
        """Say a length of time."""
        return span(self.words, seconds)
