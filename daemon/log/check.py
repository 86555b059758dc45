"""Checks a folder of nights: what is damaged, doubled, and left over."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from cabinvigil.daemon.log.doubles import stem_of
from cabinvigil.daemon.log.survey import SAME_RUN_S, RunSpan, Survey

_Part = tuple[RunSpan, Path]
"""Of a run, and the file that it stands in."""


@dataclass(frozen=True, slots=True)
class Doubled:
    """Two files that tell the same."""

    names: tuple[str, str]
    is_by_name: bool
    """One file plain and packed, of which readers take one; else the same run twice."""


@dataclass(frozen=True, slots=True)
class LeftOver:
    """An entry that is no night's file, and is named like one."""

    name: str
    size: int


def doubled(surveys: Sequence[Survey]) -> list[Doubled]:
    """Find the files that tell the same as another."""
    return list(_doubled(surveys))


def _doubled(surveys: Sequence[Survey]) -> Iterator[Doubled]:
    by_stem: dict[str, list[str]] = {}
    for one in surveys:
        by_stem.setdefault(stem_of(one.path), []).append(one.path.name)
    for stems in by_stem.values():
        if len(stems) > 1:
            yield Doubled((stems[0], stems[1]), is_by_name=True)
    told: set[tuple[str, str]] = set()
    runs = [(run, one.path) for one in surveys for run in one.runs]
    for together in _same_run(runs):
        for (run, path), (next_run, next_path) in pairwise(together):
            names = (path.name, next_path.name)
            is_other = stem_of(path) != stem_of(next_path)
            if is_other and next_run.from_s < run.to_s and names not in told:
                told.add(names)
                yield Doubled(names, is_by_name=False)


def _same_run(runs: Iterable[_Part]) -> Iterator[list[_Part]]:
    """Gather the parts of each run, in their order."""
    dated = [(one[0].started_s, one) for one in runs if one[0].started_s is not None]
    dated.sort(key=lambda pair: pair[0])
    together: list[_Part] = []
    last_s = -math.inf
    for started_s, part in dated:
        if started_s - last_s > SAME_RUN_S:
            yield sorted(together, key=_begins)
            together = []
        together.append(part)
        last_s = started_s
    yield sorted(together, key=_begins)


def _begins(part: _Part) -> tuple[float, float]:
    return part[0].from_s, part[0].to_s


def left_over(folder: Path, files: Sequence[Path]) -> list[LeftOver]:
    """Find what else is named like a night's file, so that it is taken for one."""
    known = {path.name for path in files}
    return [
        LeftOver(path.name, 0 if path.is_dir() else path.lstat().st_size)
        for path in sorted(folder.glob("night-*.jsonl*"))
        if path.name not in known
    ]
