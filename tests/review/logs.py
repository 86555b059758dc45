"""Logs for the review's tests: made line by line, without the daemon."""

import gzip
import json
from collections.abc import Iterable, Mapping
from copy import deepcopy
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any

from cabinvigil.daemon.settings.config import example

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)
Row = tuple[float, Mapping[str, Any]]


@cache
def _plain() -> dict[str, Any]:
    return example().as_plain()


def config(**cabin: Any) -> dict[str, Any]:
    """The Lapwing's config as a start record holds it, some of the cabin changed."""
    plain = deepcopy(_plain())
    plain["cabin"].update(cabin)
    return plain


def line(
    event: str, up_s: float, start: datetime | None = START, **fields: Any
) -> bytes:
    head: dict[str, Any] = {}
    if start is not None:
        wall = start + timedelta(seconds=up_s)
        head["t"] = wall.isoformat(timespec="milliseconds")[:23] + "Z"
    return json.dumps({**head, "up_s": up_s, "event": event, **fields}).encode() + b"\n"


def begin(start: datetime | None = START, **fields: Any) -> bytes:
    head = {"version": "0.1.0", "log_format": 1, "config": config(), "laxer": []}
    return line("start", 0.0, start, **{**head, **fields})


def air(rows: Iterable[Row], start: datetime | None = START) -> bytes:
    return b"".join(line("air", up_s, start, **values) for up_s, values in rows)


def still_air(
    from_s: float, to_s: float, every_s: float = 10.0, **values: float
) -> list[Row]:
    """Air that hardly changes: a live part flickers."""
    random = Random(1)
    base = {"o2_pct": 20.5, "co2_ppm": 900.0, "co_ppm": 1.0, **values}
    count = int((to_s - from_s) / every_s)
    return [
        (
            from_s + n * every_s,
            {
                key: one + 0.001 * one * random.gauss(0.0, 1.0)
                for key, one in base.items()
            },
        )
        for n in range(count)
    ]


def ended(data: bytes) -> bytes:
    """Let the monitor stop in order behind a log's last line."""
    last = json.loads(data.splitlines()[-1])
    start = None
    if "t" in last:
        start = datetime.fromisoformat(last["t"]) - timedelta(seconds=last["up_s"])
    return data + line("stop", last["up_s"], start, reason="SIGTERM")


def write(folder: Path, data: bytes, name: str = "night-2026-01-16.jsonl") -> Path:
    path = folder / name
    path.write_bytes(gzip.compress(data, mtime=0) if name.endswith(".gz") else data)
    return path


def mutated(data: bytes, random: Random) -> bytes:
    """Damage a log as cards and hands do."""
    out = bytearray(data)
    for _ in range(random.choice((1, 1, 2, 5, 20))):
        at = random.randrange(len(out)) if out else 0
        match random.randrange(9):
            case 0:
                out[at : at + random.randrange(1, 2000)] = b""
            case 1:
                out[at : at + 1] = bytes([random.randrange(256)])
            case 2:
                out[at:at] = out[max(0, at - random.randrange(3000)) : at]
            case 3:
                out[at : at + 200] = bytes(200)
            case 4:
                del out[at:]
            case 5:
                word = random.choice(_WORDS)
                out[at:at] = word
            case 6:
                _swap_value(out, at, random)
            case 7:
                _swap_lines(out, random)
            case 8:
                out[at:at] = b"\n"
    return bytes(out)


_WORDS = (
    b"null",
    b"1e309",
    b"-1e308",
    b"NaN",
    b"true",
    b'"x"',
    b"[]",
    b"{}",
    b'{"up_s":1e9,"event":"air","o2_pct":20.0}\n',
    b'{"up_s":5,"event":"start","config":{"cabin":{"volume_m3":-1,"people":1e9}}}\n',
    b'{"up_s":9,"event":"estimate","o2_minutes_to_19_5":[null,1,{}]}\n',
    b'{"up_s":9,"event":"alarm","alarm":7,"state":"unacknowledged","was":null}\n',
    b'{"up_s":9,"event":"fault","source":[1]}\n',
    b'{"up_s":9,"event":"mark","text":{"a":"<script>"}}\n',
    b"9" * 400,
)
_VALUES = (
    b"null", b"-1", b"0", b"1e300", b'"a"', b"[1,2]", b"{}", b"true", b"1e-300",
    b"99999999999999999999999", b"-0.0",
)  # fmt: skip


def _swap_value(out: bytearray, at: int, random: Random) -> None:
    """Put another value behind a colon."""
    begin = out.find(b":", at)
    end = min(
        (one for one in (out.find(b",", begin), out.find(b"}", begin)) if one > 0),
        default=-1,
    )
    if 0 < begin < end:
        out[begin + 1 : end] = random.choice(_VALUES)


def _swap_lines(out: bytearray, random: Random) -> None:
    lines = bytes(out).split(b"\n")
    a, b = random.randrange(len(lines)), random.randrange(len(lines))
    lines[a], lines[b] = lines[b], lines[a]
    out[:] = b"\n".join(lines)
