"""Ask a rule what it says of a night, without an engine's delays around it."""

from types import ModuleType
from typing import Any

from cabinvigil.daemon.core.model import Priority, Verdict
from tests.core.scenario import Night


def asked(rule: ModuleType, params: Any, night: Night) -> Verdict | None:
    """What a rule says now."""
    verdict: Verdict | None = rule.judge(params, night.state.history, night.now)
    return verdict


def says(rule: ModuleType, params: Any, night: Night) -> Priority | None:
    """What a rule raises now; it must be able to tell."""
    verdict = asked(rule, params, night)
    assert verdict is not None
    return verdict.priority
