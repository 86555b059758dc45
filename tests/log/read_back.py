"""A night cut in any way, read back, and held against the same night uncut.

By command: python -m tests.log.read_back --examples 500 --seed 1
What happens is drawn; what must come out is not asked of the code that reads: the
uncut night is one run in one file, with a clock that was right all the time.
"""

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from pathlib import Path
from random import Random
from typing import Any
from zoneinfo import ZoneInfo

from cabinvigil.daemon.commands.morning import give_account
from cabinvigil.daemon.core.model import Record
from cabinvigil.daemon.log.find import chosen, files
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import Recorder
from cabinvigil.daemon.outputs.base import Stamp
from cabinvigil.daemon.review.morning import Morning
from tests.log.cut_courses import EVERY_S, HOUR, OTHER_H, Course, Cut, draw
from tests.outputs.hands import HandClock, Told
from tests.review import logs, named


@cache
def _air(night: str) -> tuple[tuple[float, dict[str, float]], ...]:
    """Give the air of a named night, line by line."""
    data, _ = named.night(night, EVERY_S)
    found = (json.loads(line) for line in data.splitlines()[1:])
    return tuple((row.pop("up_s"), _readings(row)) for row in found)


def _readings(row: dict[str, Any]) -> dict[str, float]:
    return {key: value for key, value in row.items() if key not in ("t", "event")}


def rows(course: Course) -> Iterator[tuple[float, dict[str, float]]]:
    """Give the air by the seconds of the night."""
    for at_s, row in _air(course.air):
        if 0.0 < at_s < course.hours * HOUR:
            yield at_s, row


START: dict[str, Any] = {
    "version": "0.1.0", "config_digest": "ab" * 32, "config": logs.config(),
    "alarms": [], "laxer": [],
}  # fmt: skip
RANG = {
    "alarm": "co2-level", "priority": "medium", "text": "Bad air.", "first_up": False,
    "evidence": {}, "since_s": 0.0,
}  # fmt: skip


@dataclass
class Writer:
    """Writes a folder as the watch does, by a clock that anybody may set."""

    folder: Path
    zone: str
    wall: datetime = field(default_factory=lambda: datetime(2026, 1, 1, tzinfo=UTC))
    """What the clock shows."""
    saved: datetime = field(default_factory=lambda: datetime(2026, 1, 1, tzinfo=UTC))
    """What it showed when the power went."""
    up_s: float = 0.0
    is_set: bool = True

    def begin(
        self,
        wall: datetime,
        *,
        is_first: bool,
        is_set: bool,
        down_s: float | None = None,
    ) -> None:
        nights = Nights(
            self.folder, keep_days=400.0, max_bytes=10**9, packed=True,
            zone=ZoneInfo(self.zone),
        )  # fmt: skip
        self.told = Told()
        self.recorder = Recorder(nights, HandClock(), self.told, inline=True)
        self.wall, self.up_s = wall, 5.0
        fields = {**START, "zone": self.zone, "clock_set": is_set}
        if not is_first:
            fields |= {"kept": {}, "down_s": down_s}
        self.put("start", fields, urgent=True)

    def put(self, event: str, fields: Mapping[str, Any], *, urgent: bool) -> None:
        stamp = Stamp(self.up_s, self.wall)
        self.recorder.handle(Record(event, fields, urgent=urgent), stamp)
        # The file's date is by the same clock.
        file, shown_s = self.recorder._file, self.wall.timestamp()
        if file is not None:
            os.utime(file.path, (shown_s, shown_s))

    def live(self, for_s: float) -> None:
        self.wall += timedelta(seconds=for_s)
        self.up_s += for_s

    def end(self, reason: str = "") -> None:
        if reason:
            self.put("stop", {"reason": reason}, urgent=True)
        self.recorder.stop(1.0)
        self.saved = self.wall
        assert not list(self.told), list(self.told)


def play(course: Course, folder: Path) -> date:
    """Write the folder; return the night's date."""
    writer = Writer(folder, course.zone)
    middle = course.begins + timedelta(hours=course.hours / 2.0)
    if course.is_after_another:
        _other(writer, _beside(middle, course.zone, -1))
    writer.saved = max(writer.saved, course.begins - timedelta(hours=20.0))
    _night(writer, course)
    if course.is_before_another:
        _other(writer, _beside(middle, course.zone, 1))
    local = middle.astimezone(ZoneInfo(course.zone))
    return local.date() - timedelta(days=int(local.hour < 12))


def _beside(middle: datetime, zone: str, days: int) -> datetime:
    """Return the start of a night whose middle is at the same hour of another day."""
    local = middle.astimezone(ZoneInfo(zone)) + timedelta(days=days)
    return local.astimezone(UTC) - timedelta(hours=OTHER_H / 2.0)


def _other(writer: Writer, begins: datetime) -> None:
    """Write a night of bad air, by a clock that is right."""
    writer.begin(begins, is_first=True, is_set=True)
    for _ in range(round(OTHER_H * 12)):
        writer.live(300.0)
        air = {"o2_pct": 17.2, "co2_ppm": 21_000.0, "co_ppm": 40.0}
        writer.put(
            "air", {k: v + 1e-3 * writer.up_s for k, v in air.items()}, urgent=False
        )
    writer.end("SIGTERM")


def _shown(cut: Cut, true: datetime, saved: datetime) -> datetime:
    match cut.clock:
        case "1970":
            return datetime(1970, 1, 1, 0, 0, 20, tzinfo=UTC)
        case "saved":
            return saved
        case "ahead":
            return true + timedelta(seconds=cut.off_s)
        case "behind":
            return true - timedelta(seconds=cut.off_s)
        case _:
            return true


def happenings(course: Course) -> list[tuple[float, str, Any]]:
    """List all that is written, in order."""
    found: list[tuple[float, str, Any]] = [(at, "air", row) for at, row in rows(course)]
    found += [(at, "reload", None) for at in course.reloads_s]
    for from_s, to_s in course.rings:
        found.append(
            (from_s, "alarm", {**RANG, "state": "unacknowledged", "was": "normal"})
        )
        found.append(
            (to_s, "alarm", {**RANG, "state": "normal", "was": "unacknowledged"})
        )
    return sorted(found, key=lambda one: one[0])


def is_dark(course: Course, at_s: float) -> bool:
    """Return whether the power is off."""
    return any(cut.at_s <= at_s < cut.at_s + cut.for_s for cut in course.cuts)


def _night(writer: Writer, course: Course) -> None:
    waiting = [course.first, *course.cuts]
    now_s, sets_s, is_on = 0.0, None, False
    for at_s, kind, fields in happenings(course):
        while (
            waiting and waiting[0].at_s + (waiting[0].for_s if is_on else 0.0) <= at_s
        ):
            cut = waiting.pop(0)
            down_s = cut.for_s if is_on else 0.0
            if is_on:
                writer.live(max(0.0, cut.at_s - now_s))
                writer.end()
            now_s = cut.at_s + down_s
            true = course.begins + timedelta(seconds=now_s)
            shown = _shown(cut, true, writer.saved)
            is_set = cut.clock == "right" and cut.set_after_s is None
            writer.begin(shown, is_first=not is_on, is_set=is_set)
            is_on = True
            sets_s = None if cut.set_after_s is None else now_s + cut.set_after_s
        if is_dark(course, at_s):
            if kind == "alarm" and fields["state"] == "normal":
                continue
            continue
        if sets_s is not None and sets_s <= at_s:
            writer.live(sets_s - now_s)
            now_s, sets_s = sets_s, None
            writer.wall = course.begins + timedelta(seconds=now_s)
        writer.live(at_s - now_s)
        now_s = at_s
        if kind == "reload":
            writer.put(
                "start", {**START, "zone": course.zone, "reload": True}, urgent=True
            )
        else:
            writer.put(kind, fields, urgent=kind == "alarm")
    writer.end("SIGTERM")


def uncut(course: Course, folder: Path, late_s: float = 0.0) -> Path:
    """Write the same lines as one run, by a clock that is right; or a little late."""
    begins = course.begins + timedelta(seconds=late_s)
    data = logs.begin(begins, zone=course.zone)
    for at_s, kind, fields in happenings(course):
        if kind != "reload" and not is_dark(course, at_s):
            data += logs.line(kind, at_s, begins, **fields)
    end_s = course.hours * HOUR - EVERY_S
    data += logs.line("stop", end_s, begins, reason="SIGTERM")
    return logs.write(folder, data, f"night-2000-01-{1 + round(late_s):02}.jsonl")


def _rang(found: Morning) -> list[tuple[str, datetime]]:
    return [
        (one.alarm, found.tape.moment(one.from_s) or datetime.now(UTC))
        for one in found.rang
    ]


def differences(found: Morning, wanted: Morning) -> Iterator[str]:
    """Say where the account of the cut night is another than that of the uncut one."""
    if found.verdict.word != wanted.verdict.word:
        yield f"verdict {found.verdict} for {wanted.verdict}"
    if abs(found.hours - wanted.hours) > 0.05:
        yield f"{found.hours:.2f} h for {wanted.hours:.2f} h"
    begins, ends = found.begins, wanted.begins
    if begins is None or ends is None or abs((begins - ends).total_seconds()) > 90.0:
        yield f"begins {begins} for {ends}"
    near = {replace(one.limit, alarm=""): one.value for one in wanted.near}
    for one in found.near:
        value = near.get(replace(one.limit, alarm=""))
        if value is None or abs(one.value - value) > max(0.05, 0.02 * abs(value)):
            yield f"{one.limit.alarm} {one.value:.2f} for {value}"
    rang, told = _rang(wanted), _rang(found)
    is_same = [a for a, _ in rang] == [a for a, _ in told]
    pairs = zip(rang, told, strict=is_same)
    if not is_same or any(
        abs((a - b).total_seconds()) > 90.0 for (_, a), (_, b) in pairs
    ):
        yield f"rang {told} for {rang}"


def other_figures(found: Morning, wanted: Morning) -> Iterator[str]:
    """Say which figures of gas and air lie beside those of the uncut night."""
    ours, theirs = found.whole.totals, wanted.whole.totals
    if ours is None or theirs is None:
        if ours is not theirs:
            yield f"totals {ours} for {theirs}"
        return
    for name in ("air_m3_h", "burn_kw", "gas_kg"):
        (low, _, high), (least, _, most) = getattr(ours, name), getattr(theirs, name)
        slack = 0.02 + BESIDE * most
        if low > most + slack or high < least - slack:
            yield f"{name} {low:.3f} to {high:.3f} for {least:.3f} to {most:.3f}"


BESIDE = 0.15
"""Intervals may miss each other by so much: they are of 90 %."""
LATE_S = (0.0, 10.0, 20.0)
"""Where the air fits two explanations alike, some seconds decide between them: so the
figures may be those of the same night begun a little later."""


def check(course: Course, folder: Path) -> list[str]:
    """Play a course, read it back in every way, and say what is wrong."""
    nights = folder / "nights"
    nights.mkdir()
    night = play(course, nights)
    plain = folder / "uncut"
    plain.mkdir()
    wanted = give_account(files(uncut(course, plain)))
    wrong = []
    ways = {"by its date": str(night)}
    if not course.is_before_another:
        ways["as the last"] = ""
    for way, word in ways.items():
        try:
            found = give_account(chosen(word or None, nights))
        except ValueError as error:
            wrong.append(f"{way}: {error}")
            continue
        wrong += [f"{way}: {one}" for one in differences(found, wanted)]
        others = []
        for late_s in LATE_S:
            late = give_account(files(uncut(course, plain, late_s)))
            others = list(other_figures(found, late))
            if not others:
                break
        wrong += [f"{way}: {one}" for one in others]
    return wrong


def main() -> int:
    """Draw and check courses."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--examples", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1)
    words = parser.parse_args()
    failed = 0
    for n in range(words.seed, words.seed + words.examples):
        course = draw(Random(n))
        with tempfile.TemporaryDirectory() as folder:
            wrong = check(course, Path(folder))
        if wrong:
            failed += 1
            print(f"seed {n}: {course}")
            for one in wrong:
                print(f"  {one}")
    print(f"{words.examples} nights, {failed} wrong")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(main())
