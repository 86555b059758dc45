"""A sounder stepped in virtual time, and what its line then shows."""

from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from tests.outputs.hands import HandClock
from tests.recording_line import RecordingLine


def run(buzzer: Buzzer, clock: HandClock, until_s: float) -> None:
    """Step from edge to edge, as the thread does, in virtual time."""
    while clock.now_s < until_s:
        wait_s = buzzer.step(clock.now_s)
        clock.now_s = min(clock.now_s + min(wait_s, 0.5), until_s)


def pulses(line: RecordingLine) -> list[tuple[float, float]]:
    """(began, length) of each sound."""
    out, began = [], None
    for at_s, on in line.changes:
        if on:
            began = at_s
        elif began is not None:
            out.append((round(began, 6), round(at_s - began, 6)))
            began = None
    return out
