"""What the phone service says itself, in the languages that ship."""

from cabinvigil.daemon.phone.texts import PhoneTexts
from cabinvigil.daemon.settings.words import languages, load_words

TEXTS = {one: PhoneTexts.of(load_words(one), load_words()) for one in languages()}
ENGLISH = TEXTS["en"]
PERHAPS = ENGLISH("perhaps", title="")
"""Behind the title of what may have been sent before."""
