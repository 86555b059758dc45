"""What a config may name: the parts that can be driven, the rules that can judge."""

from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import resources
from importlib.resources.abc import Traversable
from typing import Any

from cabinvigil import drivers
from cabinvigil.daemon import rules
from cabinvigil.daemon.settings.bus_names import I2cNames
from cabinvigil.daemon.settings.errors import BadValueError, one_line
from cabinvigil.daemon.settings.ports import SerialNames
from cabinvigil.drivers.kit.steps import PartInfo


def _part_names() -> tuple[str, ...]:
    return tuple(sorted(drivers.REGISTRY))


def _part(name: str) -> PartInfo:
    return drivers.part(name)


def _rule_names() -> tuple[str, ...]:
    return tuple(rules.kinds())


def _rule(name: str) -> Any:
    return rules.find(name)


@dataclass(frozen=True)
class Registries:
    """The parts and rules there are; tests hand in their own."""

    part_names: Callable[[], tuple[str, ...]] = field(default=_part_names)
    part: Callable[[str], PartInfo] = field(default=_part)
    rule_names: Callable[[], tuple[str, ...]] = field(default=_rule_names)
    """Every file in `rules`, whether a config names it or not."""
    rule: Callable[[str], Any] = field(default=_rule)
    """The rule's module: `Params` and `judge`."""
    port_names: SerialNames = field(default_factory=SerialNames)
    """What this machine calls its serial ports, for a mistake's remedy."""
    bus_names: I2cNames = field(default_factory=I2cNames)
    """Which I2C buses it has."""

    def load_rule(self, name: str) -> Any:
        """Import a rule.

        Raises:
            WrongError: its file is broken: nothing may start without it.
        """
        mend = "install the package again, or fix that file"
        try:
            module = self.rule(name)
        except Exception as error:  # any error in a rule's file must stop the start
            raise BadValueError(
                f"names the rule {name}, whose file is broken "
                f"({one_line(str(error))[:90]})",
                mend,
            ) from error
        for wanted in ("Params", "judge"):
            if not hasattr(module, wanted):
                raise BadValueError(f"names {name}, whose file has no `{wanted}`", mend)
        return module


def packaged(name: str) -> Traversable:
    """Find a file that ships with the package."""
    return resources.files("cabinvigil.config") / name
