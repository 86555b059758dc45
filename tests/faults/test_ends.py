"""Whatever tells a fault tells its end: every source there is, with its own class.

A source that is new fails here until `ends` shows the way back from its fault.
"""

import ast
from collections.abc import Iterator
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

import cabinvigil.daemon
from cabinvigil.daemon.compose.compose import WATCH_SOURCES
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.drivers import REGISTRY
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.steps import PartInfo
from tests.faults.ends import ENDS, NEVER_TOLD, PARTS

WIRES = get_args(get_type_hints(PartInfo)["bus"])
SOURCES = [*WATCH_SOURCES, *(f"part on {wire}" for wire in WIRES), "bus"]


@pytest.mark.parametrize(
    "source", [*(one for one in SOURCES if one not in NEVER_TOLD), "chattering button"]
)
@pytest.mark.broker
def test_a_fault_of_every_source_has_an_end(
    source: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is told, and at the end of what caused it, so is that."""
    assert source in ENDS, f"nothing shows how a fault of {source} ends"
    told = ENDS[source](tmp_path, monkeypatch)
    assert isinstance(told[0], SourceFault), told
    assert isinstance(told[-1], SourceOk), told
    assert {event.source for event in told} == {told[0].source}


def named(tree: ast.AST) -> Iterator[str]:
    """Every source that a file names where it makes a fault or what latches one."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Call) or not isinstance(node.func, ast.Name):
            continue
        if node.func.id in ("SourceFault", "FaultLatch") and node.args:
            source = node.args[0]
            if isinstance(source, ast.Constant) and isinstance(source.value, str):
                yield source.value


def test_every_source_that_the_code_names_is_one_that_rings() -> None:
    """One that no alarm is about would be told to nobody."""
    (root,) = cabinvigil.daemon.__path__
    found = {
        source
        for path in Path(root).rglob("*.py")
        for source in named(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert found <= set(WATCH_SOURCES)
    assert {"ask", "clock", "loop", "settings", "spans"} <= found
    assert not found & NEVER_TOLD


def test_every_kind_of_wire_has_its_part() -> None:
    """So that a part on a new wire is played above."""
    assert {find_part(kind).bus for kind in REGISTRY} == set(WIRES) == set(PARTS)
    for wire, kind in PARTS.items():
        assert find_part(kind).bus == wire
