"""The log that a rehearsal keeps on demand (`rehearse --log`)."""

import os
from datetime import datetime, tzinfo
from pathlib import Path

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.base import CallError, MachineError
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.log.folder import Nights
from cabinvigil.daemon.log.writer import GOES_ON, Recorder
from cabinvigil.daemon.outputs.base import FaultSink, Output


class RehearsedLog:
    """A folder for the log of one rehearsed night."""

    def __init__(self, folder: Path, zone: tzinfo) -> None:
        """Make the folder, before an evening is played for nothing.

        Args:
            folder: of `--log`.
            zone: in which nights begin at noon.

        Raises:
            CallError: it cannot be made, or nothing can be written in it.
        """
        try:
            folder.mkdir(parents=True, exist_ok=True)
            why = None if os.access(folder, os.W_OK | os.X_OK) else "Permission denied"
        except OSError as error:
            why = error.strerror
        if why is not None:
            raise CallError(
                f"--log {folder}: no log can be kept there ({why}); name a folder that "
                "you may write in"
            )
        self._folder = folder
        self._nights = Nights(
            folder, keep_days=3650, max_bytes=1 << 40, packed=False, zone=zone
        )
        self._failed: str | None = None

    def refuse_second(self, begins: datetime) -> None:
        """Refuse a folder with a night of the same date: both would count as that one.

        Args:
            begins: when the rehearsal begins, in its own time.

        Raises:
            CallError: it holds one.
        """
        night = self._nights.night_of(begins)
        files = self._nights.files()
        there = next((one.path.name for one in files if one.night == night), None)
        if there is not None:
            raise CallError(
                f"--log {self._folder}: holds a night of {night} already ({there}); "
                "name another folder, or move that file away"
            )

    def output(self, clock: Clock, report: FaultSink) -> Output:
        """Return what writes it.

        Args:
            clock: of the rehearsal.
            report: takes its faults.
        """

        def noted(health: SourceFault | SourceOk) -> None:
            self._failed = health.text if isinstance(health, SourceFault) else None
            report(health)

        return Recorder(self._nights, clock, noted, inline=True)

    def check(self) -> None:
        """Ask at the end whether all of it was written.

        Raises:
            MachineError: the disk did not take the rest.
        """
        if self._failed is not None:
            # What a fault means for a night is not so of a rehearsal: it is over.
            why = self._failed.removesuffix(GOES_ON).rstrip()
            raise MachineError(
                f"--log {self._folder}: the log of this rehearsal ends too early. {why}"
            )
