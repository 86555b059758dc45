"""Who of all that was started is asked to end at the stop, and at which stage."""

from collections.abc import Sequence
from functools import partial

from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.outputs.signal.button import Button
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.state_file import StateSaver
from cabinvigil.daemon.service.outlets import Outlets
from cabinvigil.daemon.service.report_due import MorningTold
from cabinvigil.daemon.service.stopping import End

LONGER_S = 5.0
"""An output's own deadline is longer than its stage's: so one that hangs is named."""
PARTING_S = 0.4
"""The phone's side sends until the end of its time, and then needs a moment."""


def ends_of(
    outlets: Outlets | None,
    buzzer: Buzzer | None,
    button: Button | None,
    keeper: StateSaver,
    morning: MorningTold | None,
    *,
    is_crash: bool,
) -> dict[str, End]:
    """Return what ends each.

    Args:
        outlets: all outputs; None where the start did not come so far.
        buzzer: started before them.
        button: where there is one.
        keeper: saves the state.
        morning: has the morning's account made, where there is a phone.
        is_crash: the phone's side is to say no farewell.
    """
    ends: dict[str, End] = {"outputs/state": partial(_end, keeper)}
    outputs: Sequence[Output] = outlets.all if outlets else [buzzer] if buzzer else []
    for output in outputs:
        is_signal = output is buzzer or (outlets and output is outlets.light)
        stage = "signals" if is_signal else "outputs"
        ends[f"{stage}/{output.name}"] = partial(_end, output)
    if button is not None:
        ends["signals/button"] = partial(_end, button)
    if morning is not None:
        ends["signals/morning"] = lambda _left_s: morning.stop()
    if outlets and (phone := outlets.phone):
        if is_crash:
            phone.be_lost()
        ends[f"outputs/{phone.name}"] = lambda left_s: phone.stop(left_s - PARTING_S)
    return ends


def _end(output: Output | StateSaver, left_s: float) -> None:
    output.stop(left_s + LONGER_S)
