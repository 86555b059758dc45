"""What may be wrong in a person's own message file, though every line can be said.

Nothing of it stops the monitor: a sentence is better than none.
"""

import re
from collections.abc import Iterator, Mapping

from cabinvigil.daemon.core.sentences import (
    GENERAL,
    NEWS,
    MessageCatalog,
    act_of,
    without_act,
)
from cabinvigil.daemon.settings.errors import nearest, one_line, shown
from cabinvigil.daemon.settings.words import languages, load_words

SPOKEN = 120
"""Characters of a sentence, nine seconds when spoken; the line of a phone adds its
moment (the head of words_en.toml)."""
FILLED = "00.0"
"""Stands for a fact where a sentence is measured: a number of four characters."""
_FIELD = re.compile(r"\{[^{}]*\}")


def word_doubts(
    own: MessageCatalog, file: str, language: str, alarms: Mapping[str, object]
) -> Iterator[str]:
    """Report what to check in a message file, a sentence each.

    Args:
        own: what was read from it.
        file: its name.
        language: as the config has it.
        alarms: those that are watched for.
    """
    ours = own.language if own.language in languages() else language
    model = load_words(ours if ours in languages() else "en")
    if own.language != language:
        yield (
            f"{file} says language {shown(own.language)}, the config says "
            f"{shown(language)}: let both name the language of its sentences."
        )
    kinds = {name.partition("/")[0] for name in alarms}
    known = sorted({*model.alarms, *kinds})
    strays = [name for name in own.alarms if name not in known]
    for name in strays:
        close = nearest(name, known)
        what = f"{file}: [{one_line(name)[:40]}] names no alarm, so it is never said: "
        yield what + (f"write [{close}] if that was meant." if close else "remove it.")
    missing = sorted(kinds - own.alarms.keys())
    if missing:
        named = ", ".join(missing[:3]) + (", ..." if len(missing) > 3 else "")
        yield (
            f"{file} has no sentence for {named} ({len(missing)} of {len(kinds)} "
            f"alarms): [{GENERAL}] speaks for them, without a number."
        )
    for name, table in own.alarms.items():
        for case, variants in table.items():
            at = f"{file}: {one_line(f'{name}.{case}')[:60]}"
            longest = max((len(_FIELD.sub(FILLED, one)) for one in variants), default=0)
            if longest > SPOKEN:
                yield f"{at} has a sentence of {longest} characters: {SPOKEN} at most."
            orders = _orders(model, name, case) if ours == own.language else frozenset()
            if orders and not all(any(o in one for o in orders) for one in variants):
                yield (
                    f"{at} does not say what its sound means: end it with "
                    f"{' or '.join(shown(one, 60) for one in sorted(orders))}."
                )


def _orders(model: MessageCatalog, name: str, case: str) -> frozenset[str]:
    """Return the orders of which one is to be in a sentence of an alarm that wakes."""
    if name in NEWS:
        return frozenset()
    orders = {
        word: act_of(model.alarms[GENERAL][word][-1]).rstrip(".")
        for word in ("high", "medium")
    }
    for word, order in orders.items():
        if case == word or case.endswith(f"-{word}"):
            found = model.alarms.get(name, {}).get(case, ())
            if not found or all(order in one for one in found):
                return frozenset({order})
    table = model.alarms.get(name, {})
    cases = table.get(case) or tuple(one for many in table.values() for one in many)
    told = {o for o in orders.values() if any(o in one for one in cases)}
    has_other = any(
        without_act(one) != one and not any(o in one for o in orders.values())
        for one in cases
    )
    return frozenset() if has_other else frozenset(told)
