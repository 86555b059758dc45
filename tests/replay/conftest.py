"""Fixtures of the replay's tests."""

import os

import pytest


@pytest.fixture
def nothing_synced(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sync nothing: what is tested is what the files hold."""
    monkeypatch.setattr(os, "fsync", lambda fd: None)
