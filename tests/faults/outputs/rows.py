"""Faults beside the wires, each with what is owed of every way out while it lasts.

The faults are those of design.md, section 8.  Gas comes while the fault lasts; limits
count from the gas, or where the way out itself has failed, from its mend.
"""

import errno
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime

from tests.faults.outputs.cabin import Cabin
from tests.outputs.hands import EVENING

TICK_S = 1.0
FAULT_S, GAS_S, MEND_S, CLEAR_S, END_S = 30.0, 60.0, 120.0, 180.0, 320.0
"""The night: a fault, gas while it lasts, the mend while the gas lasts, fresh air."""
SOON_S = TICK_S
"""A tick: what is decided goes out at once."""
LINE_BACK_S = 5.0 + TICK_S
"""A line that failed is tried again after so long: RETRY_S of retrying_line.py."""
DISK_BACK_S = 25.0 + TICK_S
"""A disk that refused is tried again with the next batch: BATCH_S of writer.py."""


@dataclass(frozen=True)
class Row:
    """One fault."""

    name: str
    breaks: Callable[[Cabin], None]
    mends: Callable[[Cabin], None] = lambda _cabin: None
    told: str = ""
    """The alarm that tells of it; '' where there is nothing to tell of."""
    sounds_late: bool = False
    """The sounder itself has failed: it sounds once it is mended."""
    phones_late: bool = False
    """The phone cannot be reached: it is told once it can, with the age."""
    air_lost_s: float = 0.0
    """So many readings may be lost: what waited for the disk, or was deleted."""
    is_answered: bool = False
    """Somebody acknowledges, so that the alarm is over at the end."""
    back: str = "all goes on"
    """What is so at the end, in words; each is held by the judging."""
    boots: datetime = EVENING
    """What the clock shows at the start."""


EPOCH = datetime(1970, 1, 1, 0, 0, 20, tzinfo=UTC)
"""A Pi without a battery clock, and no network yet."""
ROWS = (
    Row("nothing", lambda c: None),
    Row("disk full", lambda c: c.disk(errno.ENOSPC)(), lambda c: c.disk(0)(),
        "watch-fault/log", back="all is written later"),
    Row("disk read-only", lambda c: c.disk(errno.EROFS)(), lambda c: c.disk(0)(),
        "watch-fault/log", back="all is written later"),
    Row("disk is failing", lambda c: c.disk(errno.EIO)(), lambda c: c.disk(0)(),
        "watch-fault/log", back="all is written later"),
    Row("log's folder deleted", Cabin.delete_log, Cabin.bring_folder_back,
        "watch-fault/log", air_lost_s=FAULT_S + TICK_S,
        back="all but what was deleted"),
    Row("state disk full", lambda c: c.state_disk(errno.ENOSPC)(),
        lambda c: c.state_disk(0)(), "watch-fault/state", back="saved later"),
    Row("broker away", lambda c: c.broker("out-of-reach"), lambda c: c.broker(""),
        "watch-fault/mqtt", phones_late=True, back="delivered, with its age"),
    Row("broker refuses", lambda c: c.broker("refused"), lambda c: c.broker(""),
        "watch-fault/mqtt", phones_late=True, back="delivered, with its age"),
    Row("sounder's line lost", Cabin.lose_line, Cabin.find_line,
        "watch-fault/buzzer", sounds_late=True, back="sounds once there is a line"),
    Row("light's line lost", Cabin.lose_light, Cabin.find_light,
        "watch-fault/light", back="blinks once there is a line"),
    Row("clock set years ahead", lambda c: c.step_clock(900.0),
        told="watch-fault/clock", back="a night of its own"),
    Row("clock set years back", lambda c: c.step_clock(-900.0),
        lambda c: c.step_clock(900.0), "watch-fault/clock", back="a night of its own"),
    Row("booted in 1970, clock set", Cabin.set_clock, told="watch-fault/clock",
        boots=EPOCH, back="a night of its own"),
    Row("Pi too hot", lambda c: c.heat(83.0), lambda c: c.heat(60.0),
        "watch-fault/host"),
    Row("5 V power supply sags", lambda c: c.sag(is_under_volted=True),
        lambda c: c.sag(is_under_volted=False), "watch-fault/supply"),
    Row("killed and started", Cabin.kill, air_lost_s=DISK_BACK_S),
    Row("killed in the gas", lambda c: None, Cabin.kill, air_lost_s=DISK_BACK_S,
        back="sounds on, as it stood"),
    Row("state torn, killed in the gas", lambda c: c.heat(83.0),
        lambda c: _tear_and_kill(c, "state"), "watch-fault/state",
        air_lost_s=DISK_BACK_S, back="the state before it"),
    Row("both states torn, killed", lambda c: c.heat(83.0),
        lambda c: _tear_and_kill(c, "state", "state.before"), "watch-fault/state",
        air_lost_s=DISK_BACK_S, back="rings anew by the air"),
    Row("state of a newer version", lambda c: None,
        lambda c: _downgrade(c), "watch-fault/state",
        air_lost_s=DISK_BACK_S, back="rings anew by the air"),
    Row("asks flood", lambda c: None, Cabin.flood,
        is_answered=True, back="its one honest ask is taken"),
    Row("broker and both disks", lambda c: _all_but_sound(c), lambda c: _mend_all(c),
        "watch-fault/log", phones_late=True, back="all is written later"),
)  # fmt: skip


def _tear_and_kill(cabin: Cabin, *names: str) -> None:
    cabin.heat(60.0)
    cabin.tear_state(*names)
    cabin.kill()


def _downgrade(cabin: Cabin) -> None:
    cabin.write_newer_state()
    cabin.kill()


def _all_but_sound(cabin: Cabin) -> None:
    cabin.disk(errno.EIO)()
    cabin.state_disk(errno.EIO)()
    cabin.broker("out-of-reach")


def _mend_all(cabin: Cabin) -> None:
    cabin.disk(0)()
    cabin.state_disk(0)()
    cabin.broker("")
