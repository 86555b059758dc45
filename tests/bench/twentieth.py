"""The real command on a twentieth of a core: `python -m tests.bench.twentieth [SHARE]`.

Its control group's quota holds it to that share; the emulated parts and systemd's end
are played outside.  Needs root and a cgroup that may be written, of version 1 or 2.
Prints when the sounder's line was had, when it was READY, by how much ticks were late,
and how long the stop took, on that share and on a whole core.
"""

import asyncio
import signal
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import pairwise
from pathlib import Path

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests import running
from tests.running import Air
from tests.service.life import CLOCK, Life
from tests.service.test_stop import alive, logged
from tests.service.test_watchdog import Systemd

PERIOD_US = 100_000
"""The kernel's own period (cpu.cfs_period_us)."""
WATCH_S = 60.0
ROOTS = (Path("/sys/fs/cgroup/cpu"), Path("/sys/fs/cgroup"))


@contextmanager
def quota(share: float) -> Iterator[Path]:
    """Make a control group that has this share of one core."""
    for root in ROOTS:
        group = root / "cabinvigil-bench"
        with suppress(OSError):
            group.mkdir(exist_ok=True)
        quota_us = round(share * PERIOD_US)
        if (group / "cpu.cfs_quota_us").exists():
            (group / "cpu.cfs_period_us").write_text(str(PERIOD_US))
            (group / "cpu.cfs_quota_us").write_text(str(quota_us))
        elif (group / "cpu.max").exists():
            (group / "cpu.max").write_text(f"{quota_us} {PERIOD_US}")
        else:
            continue
        try:
            yield group
        finally:
            group.rmdir()
        return
    raise SystemExit("no control group can be made here: root, and a cpu controller")


async def _when(life: Life, systemd: Systemd) -> tuple[float, float]:
    """Return the moments at which the sounder's line was had, and of READY."""
    had_s = ready_s = 0.0
    while not (had_s and ready_s):
        await asyncio.sleep(0.01)
        if life.process.poll() is not None:
            raise SystemExit(f"it ended: {life.kill()}")
        if not had_s and life.levels("GPIO17"):
            had_s = life.levels("GPIO17")[0][0]
        if not ready_s and any("READY=1" in one for one in systemd.heard()):
            ready_s = CLOCK.monotonic()
    return had_s, ready_s


async def measure(folder: Path, group: Path | None) -> str:
    """Start, watch with a danger in the air, and stop; return what was seen."""
    systemd = Systemd(str(folder / "notify"))
    air = Air()
    environ = {"NOTIFY_SOCKET": str(folder / "notify")}
    began_s = CLOCK.monotonic()
    async with alive(folder, "", air, **environ) as life:
        if group is not None:
            (group / "cgroup.procs").write_text(str(life.process.pid))
        had_s, ready_s = await _when(life, systemd)
        await asyncio.sleep(WATCH_S / 2)
        gas_s, air.now = CLOCK.monotonic(), AirNow(co_ppm=400.0)
        await asyncio.sleep(WATCH_S / 2)
        rang_s = next((s for s, on in life.levels("GPIO17") if on), float("nan"))
        told_s = CLOCK.monotonic()
        life.process.send_signal(signal.SIGTERM)
        code = await asyncio.to_thread(life.process.wait, 60)
        ended_s = CLOCK.monotonic()
    systemd.sock.close()
    lines = logged(folder)
    ticks_s = [one.up_s for one in lines if one.event == "air"]
    late_s = max(b - a for a, b in pairwise(ticks_s)) - 1.0
    faults = [one.fields["text"] for one in lines if one.event == "fault"]
    return (
        f"line had after {had_s - began_s:.1f} s, "
        f"READY after {ready_s - began_s:.1f} s; {len(ticks_s)} ticks, "
        f"the latest {late_s:+.2f} s; gas rang after "
        f"{rang_s - gas_s:.1f} s; stopped in {ended_s - told_s:.1f} s with code {code} "
        f"({lines[-1].fields.get('reason', '')}); faults: {faults}"
    )


def main() -> None:
    """Measure on the share, and on a whole core."""
    share = float(sys.argv[1]) if len(sys.argv) > 1 else 0.05
    running.CONFIG = running.CONFIG.replace("tick_s = 0.5", "tick_s = 1.0")
    with quota(share) as group, tempfile.TemporaryDirectory() as folder:
        print(f"{share:g} of a core:", asyncio.run(measure(Path(folder), group)))
    with tempfile.TemporaryDirectory() as folder:
        print("without a quota:", asyncio.run(measure(Path(folder), None)))


if __name__ == "__main__":
    main()
