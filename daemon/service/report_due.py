"""When the morning's account is due on the phone: at a set hour, or as someone gets up.

When it is due is pure: local time and the run's own seconds are handed in.
"""

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING, Self

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.outputs.base import FaultSink
from cabinvigil.daemon.service.report_process import MorningCall
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.text.time_zones import zone_or_system

if TYPE_CHECKING:
    from cabinvigil.daemon.outputs.mqtt.output import Phone

LATE = timedelta(hours=2)
"""A monitor that starts later than this after the hour does not make up for it: most of
what it would tell is then known (our choice, like those below)."""
EARLY = timedelta(hours=3)
"""A press of the button so long before the hour is someone getting up."""
NIGHT_S = 5 * 3600.0
"""Where no clock is set, a press after so long a run is someone getting up."""
AGAIN_S = 12 * 3600.0
"""And so long after it, that is another night."""


def hour_of(text: str) -> time:
    """Read a config's hour, `07:30`."""
    return time.fromisoformat(text)


@dataclass(slots=True)
class MorningDue:
    """Remembers which mornings were told."""

    hour: time
    """Local time, before noon: a night lasts from noon to noon."""
    _told: date | None = None
    _told_early: date | None = None
    _told_up_s: float = float("-inf")
    _is_owed: bool = False

    def look(self, local: datetime | None) -> bool:
        """Return whether the hour has come; once a morning.

        Args:
            local: the local time; None while no clock can be believed.
        """
        if local is None or self._told == local.date():
            return False
        if not timedelta(0) <= self._past(local) < LATE:
            return False
        self._told = local.date()
        return True

    def pressed(self, local: datetime | None, up_s: float) -> bool:
        """Return whether a press that answers no alarm asks for the account.

        Args:
            local: as for `look`.
            up_s: seconds since the start of the run.
        """
        if local is None:
            if up_s < NIGHT_S or up_s - self._told_up_s < AGAIN_S:
                return False
            self._told_up_s = up_s
            return True
        if self._is_owed and local.hour < 12:
            self._is_owed = False
            return True
        if self._told_early == local.date() or not -EARLY <= self._past(local) < LATE:
            return False
        if self._told == local.date():
            return False
        self._told_early = local.date()
        return True

    def failed(self) -> None:
        """Owe the account that could not be made: the next press asks for it again."""
        self._is_owed = True
        self._told_up_s = float("-inf")

    def _past(self, local: datetime) -> timedelta:
        """Return how long the hour of this day is past; negative: it is to come."""
        return local - datetime.combine(local.date(), self.hour, local.tzinfo)


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
        cls, settings: Settings, phone: "Phone | None", report: FaultSink
    ) -> Self | None:
        """Make it of the config; None where no phone is told."""
        if settings.mqtt is None or phone is None:
            return None
        call = MorningCall(Path(settings.log.folder), phone.morning, report)
        due = MorningDue(hour_of(settings.mqtt.morning_at))
        return cls(due, call, zone_or_system(settings.cabin.zone))

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
