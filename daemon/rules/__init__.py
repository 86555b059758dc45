"""One kind of rule a file, found by its file's name.

A kind's module has `Params` (an attrs class), `judge(params, history, now)` and `PER`:
`once`, or one instance for each `part`, `series`, `channel`, `quantity` or watch
`source`; then `Params.subject` names it.  Optional: `laxer(params, published)` lists
what was made less strict, `urgent(params)` gives limits to be judged at once.
"""

import importlib
import pkgutil
from types import ModuleType


class UnknownRuleError(ValueError):
    """No rule of that kind exists."""


def kinds() -> list[str]:
    """List the kinds there are, by their files."""
    return sorted(info.name for info in pkgutil.iter_modules(__path__))


def find(kind: str) -> ModuleType:
    """Return the module of a kind.

    Raises:
        UnknownRuleError: no file of that name; the message lists those there are.
    """
    known = kinds()
    if kind not in known:
        raise UnknownRuleError(f"no rule {kind!r}; known: {', '.join(known)}")
    return importlib.import_module(f"{__name__}.{kind}")
