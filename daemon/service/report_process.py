"""Has the morning's account made by a process of its own, and hands it to the phone.

The monitor must neither load what the account needs nor wait for it: it is worked out
behind everything else on the machine, has a deadline, and may fail; then that is told.
"""

import json
import os
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from threading import Lock
from typing import Any

from cabinvigil.daemon.outputs.base import FaultLatch, FaultSink
from cabinvigil.daemon.outputs.thread import OutputThread
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.sentences import ended

SOURCE = "morning"
LEAST_H = 1.0
"""Of a shorter log there is no night to tell."""
DEADLINE_S = 300.0
"""A night of nine hours takes half a second on the test machine; the slowest Pi, at the
lowest urgency, some thirty times as long (own estimate)."""
NICE = 10
DISPENSABLE = "500"
"""Where memory runs out, this goes before the monitor, which has -500."""
MADE = (ExitCode.DONE, ExitCode.NOT_WELL)
"""Exit codes of `cabinvigil morning`: well, or not well; else it made nothing."""
_OURS = ("NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID")
"""What systemd tells the monitor alone."""


class MorningCall:
    """Makes one account at a time, off the event loop."""

    def __init__(
        self,
        folder: Path,
        give: Callable[[Mapping[str, Any]], None],
        report: FaultSink,
        *,
        command: Sequence[str] = (sys.executable, "-P", "-m", "cabinvigil.daemon"),
        deadline_s: float = DEADLINE_S,
    ) -> None:
        """Set it up.

        Args:
            folder: where the nights are kept.
            give: takes the account's summary, from a thread.
            report: takes the fault, and its end, from a thread.
            command: the program that has the word `morning`.
            deadline_s: how long one account may take.
        """
        self._command = [*command, "morning", "--log", str(folder), "--summary"]
        self._give = give
        self._health = FaultLatch(SOURCE, report)
        self._deadline_s = deadline_s
        self._thread = OutputThread(
            SOURCE,
            self._work,
            self._health,
            "The morning's report was not made: it had an internal error ({bug}).",
        )
        self._on_failure: Callable[[], None] = lambda: None
        self._lock = Lock()
        self._is_stopped = False
        self._process: subprocess.Popen[str] | None = None

    def begin(self, on_failure: Callable[[], None] = lambda: None) -> None:
        """Begin an account, where none is being made; returns at once.

        Args:
            on_failure: called from a thread where it could not be made.
        """
        if self._thread.is_running or self._is_stopped:
            return
        self._on_failure = on_failure
        if not self._thread.start():  # which is told; it is owed still
            on_failure()

    def stop(self) -> None:
        """Give up what is being made: the monitor ends."""
        with self._lock:
            self._is_stopped = True
            if self._process is not None:
                self._process.kill()

    def _work(self) -> None:
        """Have it made, and hand it on; then the thread ends."""
        is_owed = True
        try:
            summary = self._made()
            if summary["hours"] >= LEAST_H:
                self._give(summary)
            self._health.ok()
            is_owed = False
        except _NotMadeError as error:
            if not self._is_stopped:
                why = str(error)
                text = ended(f"The morning's report was not made: {why}")
                self._health.fault("not-made", text, why)
        finally:
            self._thread.end()
            with self._lock:
                self._process = None
            if is_owed and not self._is_stopped:
                self._on_failure()

    def _made(self) -> Mapping[str, Any]:
        process = self._started()
        with process:
            try:
                told, said = process.communicate(timeout=self._deadline_s)
            except subprocess.TimeoutExpired:
                process.kill()
                process.communicate()
                why = f"it took longer than {self._deadline_s:g} s"
                raise _NotMadeError(why) from None
        return _read(process.returncode, told, said)

    def _started(self) -> subprocess.Popen[str]:
        environ = {key: one for key, one in os.environ.items() if key not in _OURS}
        with self._lock:
            if self._is_stopped:
                raise _NotMadeError("the monitor is stopping")
            try:
                process = self._process = subprocess.Popen(
                    self._command,
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.PIPE,
                    text=True,
                    encoding="utf-8",
                    errors="replace",
                    env=environ,
                )
            except OSError as error:
                why = f"it cannot be started ({error.strerror})"
                raise _NotMadeError(why) from None
        # Not before it starts: code between fork and exec may hang in a process with
        # threads.  Where the kernel refuses, it is only less modest.
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, process.pid, NICE)
        with suppress(OSError):
            Path(f"/proc/{process.pid}/oom_score_adj").write_text(DISPENSABLE)
        return process


class _NotMadeError(Exception):
    """Why there is no account, as a clause."""


def _read(code: int, told: str, said: str) -> Mapping[str, Any]:
    """Read what the process printed."""
    if code not in MADE:
        last = said.strip().splitlines()[-1:] or [f"it ended with {code}"]
        raise _NotMadeError(last[0].removeprefix("cabinvigil: ")[:90].rstrip("."))
    try:
        summary = json.loads(told)
    except ValueError:
        summary = None
    if not isinstance(summary, dict) or not isinstance(summary.get("hours"), float):
        raise _NotMadeError("its output cannot be read")
    return summary
