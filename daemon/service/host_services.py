"""What the running monitor takes from the machine; tests bring their own."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from cabinvigil.daemon.clock import Clock, SystemClock
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.signal.gpio import EdgeLine, open_button, open_gpio
from cabinvigil.daemon.outputs.signal.sounder_wiring import OpenLine
from cabinvigil.daemon.sampling.wiring import MakeCodec, Wires
from cabinvigil.daemon.service.contact_wires import machine_wires


@dataclass(frozen=True)
class HostServices:
    """What the shell takes from the machine; tests bring their own."""

    codecs: Callable[[Path, Callable[[SourceFault | SourceOk], None]], MakeCodec]
    """From the state folder, and who is told where what it keeps of the parts cannot be
    used: makes their codecs (`span.kept.maker`)."""
    clock: Clock = field(default_factory=SystemClock)
    wires: Wires = field(default_factory=machine_wires)
    open_line: OpenLine = open_gpio
    open_button: Callable[..., EdgeLine] = open_button
    environ: Mapping[str, str] = field(default_factory=dict)
    pid: int = 0
    exit_now: Callable[[int], None] | None = None
    """Ends the process with a code, and waits for nothing; None: nothing does."""
