"""Fixtures of the log's tests."""

import os
from pathlib import Path

import pytest

from tests.log.writing import Bench


@pytest.fixture
def nothing_synced(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sync nothing: tested is when it is asked for, and what a refusal costs."""
    monkeypatch.setattr(os, "fsync", lambda fd: None)


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path / "log").begin()
