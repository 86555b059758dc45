"""The figures that were read against their sources, drawn up so that none slips.

`python -m tests.tools.figures` draws them anew into `tests/data/figures`; the tests of
each area hold the code to them.  A margin that moved by a slip of the finger breaks no
behaviour that a test could name: 601 s work as well as 600.  So what was looked up or
chosen stands twice, and a change of it is one that somebody meant and can see.
"""

import dataclasses
import importlib
import json
import math
import pkgutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import attrs

from cabinvigil.daemon import rules
from cabinvigil.daemon.core import alarm_status, history, layout, setup
from cabinvigil.daemon.core.validators import Between
from cabinvigil.daemon.trend import model
from cabinvigil.drivers import REGISTRY, part
from cabinvigil.drivers.kit.quantity import QUANTITIES

FOLDER = Path(__file__).parents[1] / "data" / "figures"
WORDS = ("title", "options")
AGAIN = "python -m tests.tools.figures"


def parts() -> dict[str, Any]:
    """Return what each part gives, how finely, how often, and what it endures."""
    return {name: _plain(part(name)) for name in REGISTRY}


def quantities() -> dict[str, Any]:
    """Return unit, possible range and decimals of each quantity."""
    return {name: _plain(one) for name, one in QUANTITIES.items()}


def settings_of_rules() -> dict[str, Any]:
    """Return each rule's settings: what holds unsaid, and what may be said."""
    found = {}
    for module in pkgutil.iter_modules(rules.__path__):
        rule = importlib.import_module(f"{rules.__name__}.{module.name}")
        if hasattr(rule, "Params"):
            found[module.name] = {
                field.name: [_number(field.default), *_bounds(field.validator)]
                for field in attrs.fields(rule.Params)
            }
    return found


def unsaid() -> dict[str, Any]:
    """Return what core and trend take where the config is silent."""
    classes = [
        one
        for module in (setup, layout, history, alarm_status, model)
        for one in vars(module).values()
        if dataclasses.is_dataclass(one) and one.__module__ == module.__name__
    ]
    return {
        one.__name__: {
            field.name: _number(field.default)
            for field in dataclasses.fields(one)
            if field.default is not dataclasses.MISSING
        }
        for one in classes
    }


DRAWN = {
    "parts": parts,
    "quantities": quantities,
    "rules": settings_of_rules,
    "unsaid": unsaid,
}


def moved(name: str) -> list[str]:
    """List what differs from the drawn figures, and what was never drawn."""
    drawn = json.loads((FOLDER / f"{name}.json").read_text("utf-8"))
    now = json.loads(json.dumps(DRAWN[name]()))
    return [
        f"{one}.{key}: {now.get(one, {}).get(key)} is drawn as "
        f"{drawn.get(one, {}).get(key)}; if it is meant: {AGAIN}"
        for one in dict.fromkeys([*drawn, *now])
        for key in dict.fromkeys([*drawn.get(one, {}), *now.get(one, {})])
        if now.get(one, {}).get(key) != drawn.get(one, {}).get(key)
    ]


def _plain(one: Any) -> dict[str, Any]:
    """Spell an instance's figures; words and functions are none."""
    return {
        field.name: _number(getattr(one, field.name))
        for field in dataclasses.fields(one)
        if field.name not in WORDS and not callable(getattr(one, field.name))
    }


def _number(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _number(one) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [_number(one) for one in value]
    if dataclasses.is_dataclass(value):
        return _plain(value)
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)  # JSON knows none
    plain = value is None or isinstance(value, bool | int | float | str)
    return value if plain else type(value).__name__


def _bounds(validator: Any) -> list[float]:
    """Return the ends that a setting's validator allows; none where it has none."""
    for one in getattr(validator, "_validators", (validator,)):
        if isinstance(one, Between):
            return [one.low, one.high]
    return []


def main() -> None:
    """Draw all of them anew, a line for each."""
    FOLDER.mkdir(exist_ok=True)
    for name, make in DRAWN.items():
        rows = [f"{json.dumps(k)}: {json.dumps(v)}" for k, v in make().items()]
        text = "{\n" + ",\n".join(rows) + "\n}\n"
        (FOLDER / f"{name}.json").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
