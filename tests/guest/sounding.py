"""What sounds on the buzzer's line, and again after a death."""

import os
import signal
import time

from checking import check, expect, until
from machine import UNIT, Pins, air, logged, pid, run, shown, status

AGAIN_S = 10.0
"""From a kill to the next sound (design, section 8)."""
TEMPORAL_FOUR, BURST = 4, 3


def sounds(pins: Pins, since_s: float, pulses: int, within_s: float) -> float:
    """Wait for a group of so many pulses; give the seconds to its first edge."""

    def begun() -> list[float]:
        return [at for at, count in pins.groups(since_s) if count == pulses]

    found, _took = until(begun, within_s, f"a group of {pulses} pulses")
    return float(found[0] - since_s)


@check("oxygen at 18.6 % sounds temporal-four on the line GPIO17")
def _(pins: Pins) -> str:
    began_s = time.perf_counter()
    air(o2_pct=18.6, co2_ppm=2500.0, over_s=60.0)
    took_s = sounds(pins, began_s, TEMPORAL_FOUR, 240)
    standing = [each["alarm"] for each in status()["alarms"]]
    expect("o2-low" in standing, standing)
    return f"{took_s:.1f} s after the air began to change"


@check("a press of the button on GPIO24 quiets it, and worse air sounds again")
def _(pins: Pins) -> str:
    time.sleep(60)  # the parts lag: until they stand still, it grows worse by itself
    pins.press()
    until(lambda: status().get("sounding") == "quiet", 20, "quiet")
    quiet_s = time.perf_counter()
    time.sleep(8)
    expect(not pins.pulses(quiet_s), "it pulses though quiet")
    air(o2_pct=17.4, co2_ppm=4500.0, over_s=30.0)
    took_s = sounds(pins, quiet_s + 8, TEMPORAL_FOUR, 180)
    return f"again {took_s:.1f} s after the air went on"


@check("kill -9: the standing alarm sounds again within 10 s")
def _(pins: Pins) -> str:
    old = pid()
    until(lambda: pins.groups(time.perf_counter() - 9), 30, "a group before it")
    killed_s = time.perf_counter()
    os.kill(old, signal.SIGKILL)
    until(lambda: pid() not in (0, old), 30, "a new process")
    took_s = sounds(pins, killed_s, TEMPORAL_FOUR, 90)
    expect(took_s <= AGAIN_S, f"only after {took_s:.1f} s")
    return f"after {took_s:.1f} s"


@check("no alarm event was lost by the kill")
def _(pins: Pins) -> str:
    until(lambda: len(logged("start")) >= 2, 60, "a second start in the log")
    rung = [each for each in logged("alarm") if each.get("alarm") == "o2-low"]
    states = [each.get("state") for each in rung]
    expect("unacknowledged" in states and "acknowledged" in states, states)
    return f"o2-low: {', '.join(map(str, states))}"


@check("a stalled process is ended by the watchdog, and sounds again within 10 s")
def _(pins: Pins) -> str:
    until(lambda: shown("ActiveState") == "active", 60, "it is up")
    old = pid()
    os.kill(old, signal.SIGSTOP)
    _got, ended_s = until(lambda: pid() != old, 60, "the watchdog")
    killed_s = time.perf_counter()
    took_s = sounds(pins, killed_s, TEMPORAL_FOUR, 90)
    expect("watchdog" in run(f"journalctl -u {UNIT} -o cat").lower(), "not by it")
    expect(took_s <= AGAIN_S, f"only after {took_s:.1f} s")
    return f"ended after {ended_s:.1f} s, sounds {took_s:.1f} s later"
