"""Tells the phone of the night, when the morning has come."""

from datetime import datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Self

from cabinvigil.daemon.log.folder import EARLIEST
from cabinvigil.daemon.outputs.base import Report
from cabinvigil.daemon.service.report_due import MorningDue, hour_of
from cabinvigil.daemon.service.report_process import MorningCall
from cabinvigil.daemon.settings.config import Settings

if TYPE_CHECKING:
    from cabinvigil.daemon.outputs.mqtt.output import Phone


class MorningTold:
    """Joins when it is due with who makes it; all calls but `stop` are on the loop."""

    def __init__(
        self, due: MorningDue, call: MorningCall, zone: tzinfo | None = None
    ) -> None:
        """Set it up.

        Args:
            due: knows when.
            call: has it made.
            zone: of the hour; None is the machine's own.
        """
        self._due = due
        self._call = call
        self._zone = zone

    @classmethod
    def of(
        cls, settings: Settings, phone: "Phone | None", report: Report
    ) -> Self | None:
        """Make it of the config; None where no phone is told."""
        if settings.mqtt is None or phone is None:
            return None
        call = MorningCall(Path(settings.log.folder), phone.morning, report)
        return cls(MorningDue(hour_of(settings.mqtt.morning_at)), call)

    def look(self, wall: datetime) -> None:
        """See whether the hour has come; once a tick."""
        if self._due.look(self._local(wall)):
            self._call.begin(self._due.failed)

    def pressed(self, wall: datetime, up_s: float) -> None:
        """Take a press of the button that answered no alarm."""
        if self._due.pressed(self._local(wall), up_s):
            self._call.begin(self._due.failed)

    def stop(self) -> None:
        """Give up what is being made."""
        self._call.stop()

    def _local(self, wall: datetime) -> datetime | None:
        return wall.astimezone(self._zone) if wall >= EARLIEST else None
