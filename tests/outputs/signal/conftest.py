"""What the tests of sounder, light and button share."""

import sys

import pytest

from cabinvigil.daemon.outputs.signal import gpio as lines
from tests.outputs.signal.kernel import Kernel


@pytest.fixture
def kernel(monkeypatch: pytest.MonkeyPatch) -> Kernel:
    kernel = Kernel()
    monkeypatch.setitem(sys.modules, "gpiod", kernel.gpiod)
    monkeypatch.setattr(
        lines.glob, "glob", lambda pattern: list(kernel.names) if kernel.names else []
    )
    return kernel
