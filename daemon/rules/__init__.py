"""One kind of rule a file, found by its file's name.

A kind's module has `Params` (an attrs class), `judge(params, history, now)` and `PER`:
`once`, or one instance for each `part`, `series`, `channel`, `quantity` or watch
`source`; then `Params.subject` names it.  Each number of `Params` says beside its
bounds which way it gets less strict.  Optional: `urgent(params)` gives the limits past
which each reading is judged at once, `means(params)` how long a mean it takes, and
`gravest(params)` the gravest that it can ring as (absent: high), so that nobody puts
aside what can wake people; `BY_TREND` where it asks the trend, which a replay without
such alarms does without; `SHOWN_WITH`, of a rule whose `Params` has no `quantity`, the
picture of the morning that shows its alarms ('': none).  A rule is pure, and imports no
other.

May be imported by: compose, replay, report, settings.
"""

import functools
import importlib
import pkgutil
from types import ModuleType


class UnknownRuleError(ValueError):
    """No rule of that kind exists."""


@functools.cache
def kinds() -> tuple[str, ...]:
    """List the kinds there are, by their files.

    Looked for once: a start asks some two hundred times, and that took 13 ms of it.
    """
    return tuple(sorted(info.name for info in pkgutil.iter_modules(__path__)))


def find(kind: str) -> ModuleType:
    """Return the module of a kind.

    Raises:
        UnknownRuleError: no file of that name; the message lists those there are.
    """
    known = kinds()
    if kind not in known:
        raise UnknownRuleError(f"no rule {kind!r}; known: {', '.join(known)}")
    return importlib.import_module(f"{__name__}.{kind}")
