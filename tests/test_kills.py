"""Killed at any instant while alarms change: no alarm event lost, none invented.

The suite kills some forty times; `python -m tests.test_kills 1000` kills as often as
it is told and prints the account.
"""

import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import asdict
from pathlib import Path

from tests.stricken.account import Account, Logged, Said, read_log
from tests.stricken.life import Diary, bear, composed

LONGEST_S = 0.25
"""A child lives between nothing and this: the shortest are killed while they wake."""


def drill(folder: Path, kills: int, seed: int = 1) -> Account:
    """Kill so many watches, each the heir of the one before; give the account.

    Every other one writes from threads, as the daemon does; the rest wait for the disk.
    """
    dice, what, account = random.Random(seed), composed(), Account()
    for run in range(kills):
        diary = Diary(folder / f"said-{run}")
        pid = bear(folder, diary, run, what, threaded=run % 2 == 0)
        time.sleep(dice.uniform(0.0, LONGEST_S))
        os.kill(pid, signal.SIGKILL)
        blow_s = time.perf_counter()
        _, status = os.waitpid(pid, 0)
        diary.close()
        said = Said.read(diary.path)
        if os.waitstatus_to_exitcode(status) != -signal.SIGKILL:
            account.wrongs.append(f"run {run} ended by itself")
        # The two newest nights: what the run, or the one before, could have written.
        logged = read_log(folder, newest=2)[0].get(run, Logged())
        account.take(run, said, logged, blow_s)
        account.wake(run, said)
    account.settle(folder)
    return account


def test_no_kill_loses_or_invents_an_alarm_event(tmp_path: Path) -> None:
    """Forty kills: what was synced is there, what is there was decided.

    In a process of its own, since a fork wants one thread only.
    """
    done = subprocess.run(
        [sys.executable, "-m", "tests.test_kills", "40", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=100,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    account = json.loads((tmp_path / "account").read_text())
    assert account["wrongs"] == []
    assert account["blows"] == 40
    # How much forty short lives get done is the machine's: 194 synced at a load of 7.
    assert account["synced"] > 50
    assert account["saved"] > 10


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    with tempfile.TemporaryDirectory() as own:
        folder = Path(sys.argv[2] if len(sys.argv) > 2 else own)
        began_s = time.perf_counter()
        account = drill(folder, kills)
        print(account.line())
        print(f"{time.perf_counter() - began_s:.0f} s")
        print("\n".join(account.wrongs[:20]))
        (folder / "account").write_text(json.dumps(asdict(account)))
    sys.exit(bool(account.wrongs))


if __name__ == "__main__":
    main()
