"""The trials in a night's log: what was measured in them nobody breathed.

A night is read without it; each trial can be read by itself, as if it were a night.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import islice

from cabinvigil.daemon.log.night import STANDING, is_about_air
from cabinvigil.daemon.log.run import Run, UpEvent, step_of
from cabinvigil.daemon.log.trial_span import AIRED_S, TrialSpan


def trials_of(runs: Sequence[Run]) -> Iterator[tuple[Run, TrialSpan]]:
    """Yield the trials of some runs, in their order, each no longer than its run."""
    for run in runs:
        for one in run.trials:
            from_s, to_s = max(one.from_s, run.begin_s), min(one.to_s, run.end_s)
            if from_s < to_s:
                yield run, one._replace(from_s=from_s, to_s=to_s)


def whole_trials(runs: Sequence[Run]) -> Iterator[list[tuple[Run, TrialSpan]]]:
    """Yield each trial with all its pieces: a config read again cuts it in two."""
    pieces: list[tuple[Run, TrialSpan]] = []
    for run, one in trials_of(runs):
        goes_on = run.goes_on and one.from_s <= run.begin_s and bool(pieces)
        if goes_on and (pieces[-1][1].why or pieces[-1][1].to_s < pieces[-1][0].end_s):
            goes_on = False
        if pieces and not goes_on:
            yield pieces
            pieces = []
        pieces.append((run, one))
    if pieces:
        yield pieces


def only_trial(runs: Sequence[Run], number: int) -> list[Run]:
    """Return what was told in one trial; nothing where there is none of that number.

    Args:
        runs: of a night.
        number: from 1.
    """
    found = islice(whole_trials(runs), number - 1, number)
    return [run.between(one.from_s, one.to_s) for each in found for run, one in each]


def without_trials(runs: Sequence[Run]) -> list[Run]:
    """Return what was told outside of trials; their marks, faults and ends stay."""
    return [_without(run) if run.trials or run.cut_s else run for run in runs]


WAKING = ("medium", "high")


def _with_airing(run: Run, one: TrialSpan, aired_s: float = AIRED_S) -> TrialSpan:
    """Return a trial with the minutes in which its air is let out.

    Until all that woke at its end is gone, or for half an hour at most: the alarms
    sounded as ever, but that air is of the trial's making.  What wakes people for the
    first time after the end, or is graver than it was then, is not: it ends this.
    """
    waking: set[str] = set()
    at_end: dict[str, str] = {}
    for event in run.events:
        alarm, state, priority = (
            str(event.fields.get(key)) for key in ("alarm", "state", "priority")
        )
        is_over = event.up_s > one.to_s
        if event.kind != "alarm" or event.up_s > one.to_s + aired_s:
            continue
        if is_over and not waking:
            return one
        if state not in STANDING:
            waking.discard(alarm)
        elif priority in WAKING and is_about_air(alarm):
            if is_over and at_end.get(alarm) not in (priority, WAKING[-1]):
                return one._replace(to_s=event.up_s)
            waking.add(alarm)
            at_end[alarm] = priority
        if is_over and not waking:
            return one._replace(to_s=event.up_s)
    return one._replace(to_s=min(one.to_s + aired_s, run.end_s)) if waking else one


def _after_cut(run: Run, ended_s: float, down_s: float) -> TrialSpan:
    """Return the minutes after a power cut in a trial, in which its air is let out.

    As after its end: what stood then may stand on, for half an hour from the cut; what
    is new or graver, and all after, is the night's.
    """
    one = TrialSpan(run.begin_s, max(run.begin_s, ended_s), "", "restart")
    aired_s = max(0.0, AIRED_S - down_s - (one.to_s - one.from_s))
    return _with_airing(run, one, aired_s)


def _without(run: Run) -> Run:
    spans = [_with_airing(run, one) for _, one in trials_of([run])]
    if run.cut_s is not None:
        spans.append(_after_cut(run, *run.cut_s))
    inside: set[int] = set()
    for one in spans:
        # With the log it ends within a step, all of which was measured in it.
        is_last = one.to_s >= run.end_s
        inside.update(range(step_of(one.from_s), step_of(one.to_s) + is_last))

    def is_inside(event: UpEvent) -> bool:
        return any(one.from_s <= event.up_s < one.to_s for one in spans)

    def breathed(event: UpEvent) -> bool:
        alarm = str(event.fields.get("alarm", ""))
        is_alarm = event.kind == "alarm" and is_about_air(alarm)
        return not (is_alarm and is_inside(event))

    def outside(told: dict[str, set[int]]) -> dict[str, set[int]]:
        return {key: steps - inside for key, steps in told.items()}

    means = {
        key: {step: value for step, value in each.items() if step not in inside}
        for key, each in run.steps.items()
    }
    return replace(
        run,
        steps={key: each for key, each in means.items() if each},
        at_least=outside(run.at_least),
        doubtful=outside(run.doubtful),
        alone=outside(run.alone),
        left_out=inside & run.heard,
        events=[one for one in run.events if breathed(one)],
        estimates=[one for one in run.estimates if not is_inside(one)],
    )
