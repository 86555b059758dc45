"""What a part was proved by: a breath, or test gas; how fast it followed. Pure.

They are kept beside the spans, those that failed too.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any, Literal

from cabinvigil.daemon.span.dated import moment_from_plain

MOST_KEPT = 100
"""Of each part and quantity: two nights in three, over half a year."""
By = Literal["breath", "gas"]
BREATH: By = "breath"
GAS: By = "gas"


@dataclass(frozen=True, slots=True)
class CanOfGas:
    """Test gas, as its can is labelled."""

    quantity: str
    amount: float
    """In the quantity's unit."""


@dataclass(frozen=True, slots=True)
class Proof:
    """One test of one quantity of one part."""

    part: str
    """The part's name in the config."""
    kind: str
    quantity: str
    by: By
    at: datetime
    """Aware, in UTC."""
    seconds: float
    """From the breath or gas until the part showed it; of a failed one, how long it
    was waited for."""
    failed: str = ""
    """Why it did not pass; '' where it did."""


def proof_to_plain(proof: Proof) -> dict[str, Any]:
    """Return it as plain values, fit for JSON."""
    plain = {one.name: getattr(proof, one.name) for one in fields(proof)}
    return plain | {"at": proof.at.isoformat()}


def proof_from_plain(plain: Mapping[str, Any]) -> Proof:
    """Read what `proof_to_plain` made.

    Raises:
        KeyError, TypeError, ValueError: it is none.
    """
    return Proof(
        part=str(plain["part"]),
        kind=str(plain["kind"]),
        quantity=str(plain["quantity"]),
        by="gas" if plain["by"] == GAS else "breath",
        at=moment_from_plain(plain["at"]),
        seconds=float(plain["seconds"]),
        failed=str(plain.get("failed", "")),
    )
