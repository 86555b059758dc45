"""Whether what a package hands about can be changed behind somebody's back."""

import dataclasses
import importlib
import pkgutil

import attrs


def can_be_changed(package: str) -> list[str]:
    """List a package's value classes that are not frozen, or hold a `__dict__`."""
    top = importlib.import_module(package)
    found = []
    for module in pkgutil.walk_packages(top.__path__, f"{package}."):
        for name, one in vars(importlib.import_module(module.name)).items():
            if not isinstance(one, type) or one.__module__ != module.name:
                continue
            if dataclasses.is_dataclass(one):
                frozen = one.__dataclass_params__.frozen
            elif attrs.has(one):
                frozen = one.__setattr__ is not object.__setattr__
            else:
                continue
            if not frozen or "__slots__" not in vars(one):
                found.append(f"{module.name}.{name}")
    return found
