"""Bad disks, new configs, many deaths, and an end in order."""

import os
import signal
import time
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

from checking import check, expect, until
from machine import CARD, CONFIG, LOGS, UNIT, Pins, logged, pid, run, shown, status
from sounding import BURST, TEMPORAL_FOUR, sounds


def longest_silence(pins: Pins, since_s: float) -> float:
    """Give the longest time without a pulse from a moment until now."""
    at = [since_s, *pins.pulses(since_s), time.perf_counter()]
    return max(b - a for a, b in pairwise(at))


def outlasts(pins: Pins, what: str, mend: Callable[[], object]) -> str:
    """Hold that the log's fault is told, the sound goes on, and no line is lost."""
    began_s = time.perf_counter()
    _got, told_s = until(lambda: "log" in status().get("faults", {}), 90, "a fault")
    told = status()["faults"]["log"]
    expect(what in told, told)
    up_s = status()["up_s"]
    time.sleep(15)
    silence_s = longest_silence(pins, began_s)
    expect(silence_s < 8.0, f"silent for {silence_s:.1f} s")
    mend()
    until(lambda: "log" not in status().get("faults", {"log": ""}), 90, "its end")
    begun = logged("start")[-1]["t"]
    seen = [each["up_s"] for each in logged("air") if each["t"] >= begun]
    kept = [at for at in seen if up_s <= at <= up_s + 15]
    expect(len(kept) >= 12, f"{len(kept)} lines of those 15 s")
    return f"told after {told_s:.1f} s; {len(kept)} of 15 s kept and written after"


@check("a full disk is told, the sound goes on, and its lines are written afterwards")
def _(pins: Pins) -> str:
    run(f"dd if=/dev/zero of={CARD}/filler bs=4k 2>/dev/null || true")
    run(f"dd if=/dev/zero of={CARD}/filler2 bs=512 2>/dev/null || true")
    return outlasts(pins, "full", lambda: run(f"rm {CARD}/filler*; sync"))


@check("a disk turned read-only is told, the sound goes on, and nothing is lost")
def _(pins: Pins) -> str:
    Path("/proc/sysrq-trigger").write_text("u")  # what the kernel does to a bad card
    until(lambda: f"{CARD} ext4 ro" in run("cat /proc/mounts"), 20, "read-only")
    return outlasts(pins, "read-only", lambda: run(f"mount -o remount,rw {CARD}"))


@check("a bad config is refused aloud at reload, and the old one goes on")
def _(pins: Pins) -> str:
    good, old = CONFIG.read_text(), pid()
    CONFIG.write_text(good.replace("volume_m3 = 11.0", "volume_m3 = -1.0"))
    run(f"systemctl reload {UNIT}")
    until(lambda: "settings" in status().get("faults", {}), 30, "the refusal")
    told = status()["faults"]["settings"]
    CONFIG.write_text(good)
    expect("volume_m3" in told, told)
    expect(pid() == old, "another process")
    return told[:100]


@check("a good config is taken over at reload, without a new process or a silence")
def _(pins: Pins) -> str:
    old, began_s = pid(), time.perf_counter()
    text = CONFIG.read_text()
    CONFIG.write_text(text.replace("{ at = 6.0,", "{ at = 7.0,"))
    run(f"systemctl reload {UNIT}")
    until(lambda: any(each.get("reload") for each in logged("start")), 60, "a record")
    expect("settings" not in status().get("faults", {}), "the refusal still stands")
    expect(pid() == old, "another process")
    time.sleep(6)
    silence_s = longest_silence(pins, began_s)
    expect(silence_s < 8.0, f"silent for {silence_s:.1f} s")
    return f"longest silence {silence_s:.1f} s"


@check("six deaths in a row: the second unit sounds, and starts the watch again")
def _(pins: Pins) -> str:
    deaths = 0
    began_s = time.perf_counter()
    while shown("ActiveState") != "failed":
        if now := pid():
            deaths += 1
            os.kill(now, signal.SIGKILL)
        expect(time.perf_counter() - began_s < 90, f"still not failed: {deaths} deaths")
        time.sleep(0.3)
    failed_s = time.perf_counter()
    took_s = sounds(pins, failed_s, BURST, 60)
    until(lambda: shown("ActiveState") == "active", 240, "the watch again")
    sounds(pins, time.perf_counter(), TEMPORAL_FOUR, 60)
    return f"{deaths} deaths; sounds after {took_s:.1f} s, and watches again"


@check("it stops in order, with the line silent and its last line written")
def _(pins: Pins) -> str:
    began_s = time.perf_counter()
    run(f"systemctl stop {UNIT}")
    took_s = time.perf_counter() - began_s
    expect(took_s < 10, f"it took {took_s:.1f} s")
    time.sleep(7)
    expect(not pins.pulses(began_s + took_s), "it sounds after its end")
    expect(logged("stop"), "no 'stop' in the log")
    return f"in {took_s:.1f} s"


@check("nothing was denied to it, nothing stumbled, and its memory was enough")
def _(pins: Pins) -> str:
    said = run(f"journalctl -u {UNIT} -o cat")
    for word in ("Traceback", "Operation not permitted", "Permission denied"):
        expect(word not in said, said[-600:])
    expect("oom" not in run("journalctl -k -o cat").lower(), "the kernel ran short")
    expect(list(LOGS.glob("night-*")), "no log")
    return f"{len(said.splitlines())} lines in the journal"
