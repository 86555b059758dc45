"""An output's thread, and work for it that counts itself."""

import threading
from collections.abc import Callable

from cabinvigil.daemon.outputs.base import FaultLatch
from cabinvigil.daemon.outputs.thread import OutputThread
from tests.outputs.hands import Told

SOON_S = 10.0
"""For what comes at once on any machine: nothing is measured by it."""


class Worked:
    """Work that counts itself, and may be waited for."""

    def __init__(self, *waits_s: float | None) -> None:
        self._waits_s = list(waits_s)
        self.count = 0
        self._came = threading.Condition()

    def __call__(self) -> float | None:
        with self._came:
            self.count += 1
            self._came.notify_all()
        return self._waits_s.pop(0) if self._waits_s else None

    def until(self, count: int) -> None:
        with self._came:
            assert self._came.wait_for(lambda: self.count >= count, SOON_S)


def make(
    work: Callable[[], float | None], told: object = None, **others: object
) -> OutputThread:
    health = FaultLatch("slate", Told() if told is None else told)  # type: ignore[arg-type]
    sentence = "The slate had an internal error ({bug})."
    return OutputThread("slate", work, health, sentence, **others)  # type: ignore[arg-type]


def running() -> list[threading.Thread]:
    return [thread for thread in threading.enumerate() if thread.name == "slate"]
