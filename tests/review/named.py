"""The named nights as logs, seen by parts without errors: no daemon, so quick."""

import json
from collections.abc import Iterator
from functools import cache

from cabinvigil.daemon.rehearsal.cabin import EmulatedCabin, Truth
from cabinvigil.daemon.rehearsal.nights import NIGHTS, NamedNight, setting_at
from cabinvigil.daemon.settings.config import example
from tests.review import logs

LOST = {"stall", "vanish", "hold", "identity", "flip"}
"""Failures after which a part tells nothing."""
GIVES = {
    "bunk-o2": ("o2_pct",),
    "bunk-co": ("co_ppm",),
    "bunk-co2": ("co2_ppm",),
    "bunk-air": ("temp_c", "rh_pct"),
}
CONTACTS = {
    "smoke_alarm": "contact-smoke",
    "gas_alarm": "contact-gas",
    "co_alarm": "contact-co",
}
"""What a certified alarm is in a night's setting, and as an alarm in its log."""


def _certified(played: NamedNight) -> Iterator[bytes]:
    """Give a line where a certified alarm sounds, and one where it is silent again.

    The daemon logs them beside the air, and no sensor of ours need have seen why.
    """
    for setting, alarm in CONTACTS.items():
        states = ("normal", "unacknowledged", "latched-unacknowledged")
        was, n = getattr(played.first, setting), 0
        for change in played.changes:
            value = getattr(setting_at(played, change.at_s), setting)
            if value != was:
                fields = {"was": states[n], "state": states[n + 1], "priority": "high"}
                text = f"{alarm} {value:g}"
                yield logs.line("alarm", change.at_s, alarm=alarm, text=text, **fields)
                was, n = value, n + 1


@cache
def night(name: str, every_s: float = 30.0) -> tuple[bytes, tuple[Truth, ...]]:
    """Give the night's log, and the cabin's truth at each line."""
    played = NIGHTS[name]
    cabin = EmulatedCabin(example().cabin, played)
    rows, truths, held = [], [], {}
    for n in range(int(played.hours * 3600.0 / every_s)):
        at_s = n * every_s
        cabin.advance(at_s)
        air, flicker = cabin.air_now(), (n % 3 - 1) * 1e-3
        truths.append(cabin.truth())
        row = {
            "o2_pct": air.o2_pct + flicker,
            "co2_ppm": air.co2_ppm * (1.0 + flicker),
            "co_ppm": air.co_ppm + 10.0 * flicker,
            "temp_c": air.temp_c + flicker,
            "rh_pct": air.rh_pct,
            "temp_c_glass": air.glass_c,
            "supply_v": air.supply_v,
        }
        for failure in played.failures:
            keys = GIVES.get(failure.part, ()) if failure.part != "bus" else ()
            if failure.from_s <= at_s < failure.to_s:
                for key in keys:
                    if failure.fault in LOST:
                        row.pop(key, None)
                    else:
                        row[key] = held[key]
        held = {**held, **row}
        rows.append((at_s, row))
    lines = [*logs.air(rows).splitlines(keepends=True), *_certified(played)]
    lines.sort(key=lambda line: json.loads(line)["up_s"])
    return logs.begin() + b"".join(lines), tuple(truths)
