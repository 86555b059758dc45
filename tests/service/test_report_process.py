"""The morning's account from a process of its own: given on, or told as a fault."""

import sys
import threading
import time
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.log.folder import night_of
from cabinvigil.daemon.service.report_process import MorningCall
from tests.review import logs

HOUR = 3600.0


class Desk:
    """Takes what comes from the call's thread."""

    def __init__(self, folder: Path, *code: str, deadline_s: float = 60.0) -> None:
        self.given: list[Mapping[str, Any]] = []
        self.reported: list[SourceFault | SourceOk] = []
        self.failures = 0
        command = {"command": (sys.executable, "-c", *code)} if code else {}
        self.call = MorningCall(
            folder,
            self.given.append,
            self.reported.append,
            deadline_s=deadline_s,
            **command,  # type: ignore[arg-type]
        )

    def make(self) -> None:
        """Have it made, and wait."""
        self.call.begin(self._failed)
        for thread in threading.enumerate():
            if thread.name == "morning":
                thread.join(60.0)

    def _failed(self) -> None:
        self.failures += 1

    @property
    def fault(self) -> str:
        [one] = self.reported
        assert isinstance(one, SourceFault)
        assert (one.source, one.kind, self.failures) == ("morning", "not-made", 1)
        assert len(one.text) <= 140
        return one.text


def test_the_real_account_of_the_last_night_is_given(tmp_path: Path) -> None:
    """By the installed program, from the folder: what the phone gets."""
    begins = datetime.now(UTC) - timedelta(hours=10)
    night = night_of(begins, None)
    data = logs.begin(begins) + logs.air(logs.still_air(0.0, 2 * HOUR, 30.0), begins)
    data += logs.line("stop", 2 * HOUR, begins, reason="SIGTERM")
    logs.write(tmp_path, data, f"night-{night}.jsonl.gz")
    desk = Desk(tmp_path)
    desk.make()
    [told] = desk.given
    assert told["text"] == "Safe by what was measured: only 2.0 h were monitored."
    assert (told["night"], told["cabin"]) == (f"night-{night}", "lapwing")
    assert {"o2_pct", "co_ppm", "co2_ppm"} <= {
        one["quantity"] for one in told["closest"]
    }
    assert desk.reported == []


def test_an_older_night_is_not_given_as_the_last(tmp_path: Path) -> None:
    """R2: the disk was full, and the newest log is of a good night long ago."""
    data = logs.begin() + logs.air(logs.still_air(0.0, 2 * HOUR, 30.0))
    data += logs.line("stop", 2 * HOUR, reason="SIGTERM")
    logs.write(tmp_path, data, "night-2026-01-16.jsonl.gz")
    desk = Desk(tmp_path)
    desk.make()
    [told] = desk.given
    assert told["well"] is False
    assert told["text"].startswith("NOT MONITORED: ")
    assert "is missing, and this is that of 2026-01-16" in told["missing"][0]


def test_of_a_few_minutes_nothing_is_told(tmp_path: Path) -> None:
    """A watch that was started at breakfast has seen no night; that is no fault."""
    data = logs.begin() + logs.air(logs.still_air(0.0, 0.5 * HOUR, 60.0))
    logs.write(tmp_path, data)
    desk = Desk(tmp_path)
    desk.make()
    assert desk.given == desk.reported == []


@pytest.mark.parametrize(
    ("code", "words"),
    [
        ("print('{}')", "its output cannot be read"),
        ("print('[1.0]')", "its output cannot be read"),
        ("print('{\"hours\": 9')", "its output cannot be read"),
        ("raise SystemExit(3)", "it ended with 3"),
        ("import os; os.kill(os.getpid(), 9)", "it ended with -9"),
        ("1 / 0", "its output cannot be read"),
        ("import sys; sys.exit('cabinvigil: x' * 99)", "cannot be read"),
    ],
)
def test_what_goes_wrong_is_a_fault_in_one_sentence(
    tmp_path: Path, code: str, words: str
) -> None:
    """Named, bounded, and nothing reaches the phone."""
    desk = Desk(tmp_path, code)
    desk.make()
    assert words in desk.fault
    assert desk.given == []


def test_the_program_s_own_sentence_is_passed_on(tmp_path: Path) -> None:
    """A folder without a night: what `morning` says of it."""
    desk = Desk(tmp_path)
    desk.make()
    assert "holds no night" in desk.fault


def test_no_program_is_a_fault(tmp_path: Path) -> None:
    """The environment was moved while the watch ran."""
    desk = Desk(tmp_path)
    desk.call._command = [str(tmp_path / "gone")]
    desk.make()
    assert "cannot be started (No such file or directory)" in desk.fault


def test_a_hang_is_ended_at_its_deadline_and_success_ends_the_fault(
    tmp_path: Path,
) -> None:
    """The process is gone, the fault told once; the next account takes it back."""
    desk = Desk(tmp_path, "import time; time.sleep(60)", deadline_s=0.3)
    desk.make()
    desk.make()
    [fault] = desk.reported
    assert isinstance(fault, SourceFault)
    assert "longer than 0.3 s" in fault.text
    desk.call._command = [sys.executable, "-c", "print('{\"hours\": 9.0}')"]
    desk.call._deadline_s = 60.0
    desk.make()
    assert desk.given == [{"hours": 9.0}]
    assert desk.reported[-1] == SourceOk("morning")


def test_it_steps_back_and_hears_nothing_of_systemd(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nice, the first to go when memory runs out, and no notify socket."""
    monkeypatch.setenv("NOTIFY_SOCKET", "/run/notify")
    code = (
        "import json, os, time; time.sleep(0.3); print(json.dumps({"
        "'hours': 9.0, 'nice': os.nice(0), 'socket': os.getenv('NOTIFY_SOCKET'),"
        "'goes': int(open('/proc/self/oom_score_adj').read())}))"
    )
    desk = Desk(tmp_path, code)
    desk.make()
    [told] = desk.given
    assert told["nice"] >= 10
    assert told["socket"] is None
    assert told["goes"] == 500


def test_begin_returns_at_once_and_one_is_made_at_a_time(tmp_path: Path) -> None:
    """The loop waits for nothing; a second call meanwhile starts nothing."""
    desk = Desk(tmp_path, "import time; time.sleep(1.0); print('{\"hours\": 9.0}')")
    began_s = time.perf_counter()
    desk.call.begin()
    desk.call.begin()
    assert time.perf_counter() - began_s < 0.9
    desk.make()
    assert len(desk.given) == 1


def test_a_stop_ends_it_without_a_fault(tmp_path: Path) -> None:
    """And nothing begins after it."""
    desk = Desk(tmp_path, "import time; time.sleep(60)")
    desk.call.begin(desk._failed)
    while desk.call._process is None:
        time.sleep(0.01)
    desk.call.stop()
    desk.make()
    assert (desk.given, desk.reported, desk.failures) == ([], [], 0)


def test_a_bug_of_whoever_takes_it_is_told_and_it_is_owed(tmp_path: Path) -> None:
    """One account is not made again and again; the next press asks for it."""
    desk = Desk(tmp_path, "print('{\"hours\": 9.0}')")
    give, desk.call._give = desk.call._give, lambda summary: summary["phone"]
    desk.make()
    [fault] = desk.reported
    assert isinstance(fault, SourceFault)
    assert "it had an internal error (KeyError: 'phone')" in fault.text
    assert desk.failures == 1
    desk.call._give = give
    desk.make()
    assert desk.given == [{"hours": 9.0}]
    assert desk.reported[1:] == [SourceOk("morning")]
