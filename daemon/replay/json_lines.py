"""How the core's commands are spelled as JSON Lines: for replay and rehearsal."""

from typing import Any

from cabinvigil.daemon.core.model import Command, Estimate, Transition


def spell(command: Command, time_s: float, *, estimates: bool) -> dict[str, Any] | None:
    """Format a transition, or an estimate where wanted; None for the rest."""
    match command:
        case Transition():
            return {
                "time_s": time_s,
                "event": "alarm",
                **command.spelled(),
                "evidence": dict(command.evidence),
            }
        case Estimate() if estimates:
            return {"time_s": time_s, "event": "estimate", **command.fields}
        case _:
            return None
