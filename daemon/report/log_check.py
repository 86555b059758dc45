"""What a check of the log found: in words, and as JSON."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from pathlib import Path
from typing import Any

from cabinvigil.daemon.log.check import Doubled, LeftOver
from cabinvigil.daemon.log.mend import FOLDER
from cabinvigil.daemon.log.survey import LostLines, RunSpan, Survey
from cabinvigil.daemon.text.moments import utc_seconds


@dataclass(frozen=True, slots=True)
class Checked:
    """All that was found."""

    nights: Path
    """The folder, or the one file."""
    surveys: Sequence[Survey]
    doubled: Sequence[Doubled]
    left_over: Sequence[LeftOver]

    @property
    def damaged(self) -> int:
        """How many files are damaged."""
        return sum(1 for one in self.surveys if one.is_damaged)

    @property
    def is_well(self) -> bool:
        """Whether nothing is damaged or doubled."""
        return not self.damaged and not self.doubled


def words(found: Checked) -> Iterator[str]:
    """Report it for people, the verdict first."""
    yield _verdict(found)
    for one in found.surveys:
        yield f"{one.path.name}: {_held(one)}"
        yield from (f"  {line}" for line in _wrong(one))
    for twice in found.doubled:
        first, second = twice.names
        if twice.is_by_name:
            yield f"DOUBLED: {first} and {second} are one file twice; readers take one."
        else:
            yield (
                f"DOUBLED: {first} and {second} hold the same hours of one run; "
                "both are read: move one away."
            )
    for other in found.left_over:
        yield f"LEFT OVER: {other.name}, {_size(other.size)}: not the file of a night."


def _verdict(found: Checked) -> str:
    count = len(found.surveys)
    files = "1 file" if count == 1 else f"{count} files"
    torn = _torn(found.surveys)
    if found.is_well:
        return (
            f"{files}: nothing is damaged or doubled{f', but {torn}' if torn else ''}."
        )
    text = f"{files}: {found.damaged} damaged, {len(found.doubled)} doubled."
    if found.damaged:
        folder = found.nights if found.nights.is_dir() else found.nights.parent
        text += (
            f" `cabinvigil log mend {found.nights}` writes what can be read into "
            f"{folder / FOLDER}/."
        )
    return f"{text} Also, {torn}." if torn else text


def _torn(surveys: Sequence[Survey]) -> str:
    """Say where a file just ends; '' where none does."""
    torn = [one for one in surveys if one.is_torn]
    if not torn:
        return ""
    if len(torn) > 1:
        return (
            f"{len(torn)} files end in a torn line, without a stop: what came after "
            "it is missing"
        )
    [one] = torn
    when = "" if one.last is None else f" at {one.last.astimezone(one.zone):%H:%M}"
    return (
        f"{one.path.name} ends{when} in a torn line, without a stop: what came after "
        "it is missing"
    )


def _held(one: Survey) -> str:
    if not one.lines:
        return _size(one.size)
    when = "no clock was set"
    if one.first is not None and one.last is not None:
        first, last = one.first.astimezone(one.zone), one.last.astimezone(one.zone)
        when = f"{first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M %Z}"
    parts = [when, f"{one.lines} lines", _size(one.size), _runs(one)]
    if any(run.is_emulated for run in one.runs):
        parts.append("emulated sensors")
    if one.clock_steps:
        parts.append(f"the clock was set {one.clock_steps} x")
    return ", ".join(parts)


def _runs(one: Survey) -> str:
    if one.run_count > 1:
        return f"{one.run_count} runs"
    run = one.runs[0]
    return f"run {run_id(run)}" + (" goes on" if run.is_continued else "")


def run_id(run: RunSpan) -> str:
    """Name a run by the moment of its start, UTC."""
    if run.started_s is None:
        return "unknown"
    return utc_seconds(datetime.fromtimestamp(run.started_s, UTC)) or "unknown"


def _wrong(one: Survey) -> Iterator[str]:
    if one.error is not None:
        yield f"DAMAGED: cannot be read ({one.error})."
    elif not one.lines:
        yield "DAMAGED: holds no line that can be read."
    if one.is_newer:
        yield "NEWER: a later version wrote it; bring the software up to date."
    for lost in one.lost:
        yield f"DAMAGED: {lost_words(lost, one.zone)}."
    if (more := one.lost_count - len(one.lost)) > 0:
        yield f"DAMAGED: {more} more places."
    if one.is_torn:
        yield "its last lines are torn, as by a power cut"


def lost_words(lost: LostLines, zone: tzinfo | None) -> str:
    """Report which lines are lost."""
    if lost.lines is None:
        many = "an unknown number of lines"
    else:
        about = "" if lost.is_exact else "about "
        many = f"{about}{lost.lines} line" + ("" if lost.lines == 1 else "s")
    where = "at the beginning"
    if lost.after_line:
        where = f"after line {lost.after_line}"
    if lost.from_wall is not None:
        where += f", {lost.from_wall.astimezone(zone):%H:%M:%S}"
        if lost.to_wall is not None:
            where += f" to {lost.to_wall.astimezone(zone):%H:%M:%S}"
        else:
            where += " to the end"
    return f"{many} {where}"


def _size(size: int) -> str:
    return f"{size} bytes" if size < 1000 else f"{size / 1000:.0f} kB"


def as_json(found: Checked) -> dict[str, Any]:
    """Return it as one object."""
    return {
        "nights": str(found.nights),
        "well": found.is_well,
        "files": [file_json(one) for one in found.surveys],
        "doubled": [
            {"files": list(one.names), "same_name": one.is_by_name}
            for one in found.doubled
        ],
        "left_over": [
            {"file": one.name, "size_bytes": one.size} for one in found.left_over
        ],
    }


def file_json(one: Survey) -> dict[str, Any]:
    """Return what one file holds."""
    return {
        "file": one.path.name,
        "size_bytes": one.size,
        "lines": one.lines,
        "first": utc_seconds(one.first),
        "last": utc_seconds(one.last),
        "clock_steps": one.clock_steps,
        "runs": [_run_json(run) for run in one.runs],
        "damaged": one.is_damaged,
        "lost": [_lost_json(lost) for lost in one.lost],
        "torn": one.is_torn,
        "newer_format": one.is_newer,
        "error": one.error,
    }


def _run_json(run: RunSpan) -> dict[str, Any]:
    return {
        "run": run_id(run),
        "from_up_s": run.from_s,
        "to_up_s": run.to_s,
        "emulated": run.is_emulated,
        "continued": run.is_continued,
    }


def _lost_json(lost: LostLines) -> dict[str, Any]:
    return {
        "after_line": lost.after_line,
        "from": utc_seconds(lost.from_wall),
        "to": utc_seconds(lost.to_wall),
        "lines": lost.lines,
        "exact": lost.is_exact,
    }


def mended_words(into: Path, surveys: Sequence[Survey]) -> Iterator[str]:
    """Report what was written, then what was lost."""
    written = [one for one in surveys if one.lines]
    mended = sum(1 for one in written if one.is_damaged or one.is_torn)
    files = "1 file" if len(written) == 1 else f"{len(written)} files"
    yield (
        f"{files} written to {into}/, {mended} of them from a damaged or torn one: "
        f"{_lost_in_all(surveys)} lost."
    )
    if mended:
        yield (
            "The new files can be read to their end, and a line marks where others "
            "are missing: keep the old ones."
        )
    for one in surveys:
        if one.lines and not one.is_damaged and not one.is_torn:
            continue
        kept = f"{one.lines} lines kept" if one.lines else "not written"
        yield f"{one.path.name}: {kept}; in the old file:"
        yield from (f"  {line}" for line in _wrong(one))


def _lost_in_all(surveys: Sequence[Survey]) -> str:
    lost = [each for one in surveys for each in one.lost]
    count = sum(each.lines or 0 for each in lost)
    if any(each.lines is None for each in lost) or any(
        not one.lines for one in surveys
    ):
        return f"{count} lines, and more that nobody can count, are"
    about = "" if all(each.is_exact for each in lost) else "about "
    lines = f"{about}{count} line" if count == 1 else f"{about}{count} lines"
    if any(one.is_torn for one in surveys):
        end = "the torn end of the log"
        return f"{lines} and {end} are" if count else f"{end} is"
    return f"{lines} is" if count == 1 else f"{lines} are"


def mended_json(into: Path, surveys: Sequence[Survey]) -> dict[str, Any]:
    """Return what was written as one object."""
    return {
        "into": str(into),
        "files": [
            {
                **file_json(one),
                "written": str(into / one.path.name) if one.lines else None,
            }
            for one in surveys
        ],
    }
