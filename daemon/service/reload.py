"""The config read again while the monitor runs, off its loop."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from operator import attrgetter
from pathlib import Path
from typing import Any

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.compose.compose import CoreBuild
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.contacts import TELLS, WORDS, is_guard, means_of
from cabinvigil.daemon.core.history import History
from cabinvigil.daemon.core.model import Record, SourceFault, SourceOk
from cabinvigil.daemon.core.snapshot import carry_over, resume
from cabinvigil.daemon.outputs.state_file import StateSaver
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import ConfigError, Settings, load
from cabinvigil.daemon.settings.values import changed
from cabinvigil.daemon.threads.worker import OverdueError, Worker

READ_S = 20.0
"""To read a config and compose a core: a tenth of a second on the test machine, and ten
times that on the slowest Pi (own estimate); more is a disk that does not respond."""
FIXED = (
    *("buzzer", "light", "button", "mqtt", "log", "ask"),
    *("cabin.name", "cabin.zone", "watch.state_folder"),
)
"""What only a restart changes."""


@dataclass(frozen=True, slots=True)
class NewConfig:
    """What a config file says now, and what of it is used from now on."""

    used: Settings
    """But for what only a restart changes, which stays."""
    core: CoreBuild
    waits: tuple[str, ...]
    """What changed and is not used: keys and tables."""


def in_use(new: Settings, ran: Settings) -> Settings:
    """Return a config as it is gone on with: what only a restart changes stays.

    Args:
        new: as it was read.
        ran: that the daemon was started with.
    """
    kept: dict[str, Any] = {}
    for name in FIXED:
        table, _, key = name.partition(".")
        old, now = getattr(ran, table), kept.get(table, getattr(new, table))
        kept[table] = changed(now, **{key: getattr(old, key)}) if key else old
    return replace(new, **kept)


class ConfigReader:
    """Reads one config file, as often as it is asked."""

    def __init__(self, path: Path, ran: Settings, clock: Clock) -> None:
        """Take the file.

        Args:
            path: the file.
            ran: what it said when the daemon was started.
            clock: from which service lives are counted.
        """
        self._path = path
        self._ran = ran
        self._clock = clock
        self._worker = Worker("config")

    async def read(self, watcher: Watcher, old: Settings) -> NewConfig | SourceFault:
        """Return what the file says now, or why it cannot be used.

        Args:
            watcher: knows which contacts are closed once the file has been read.
            old: the config in use.
        """
        try:
            read: NewConfig = await self._worker.call(self._load, READ_S)
            why = why_kept(watcher.state.history, old, read.used)
            if not why:
                return read
        except ConfigError as error:
            why = str(error)
        except OverdueError:
            why = f"{self._path} has not responded for {READ_S:g} s; check its disk"
        except Exception as bug:  # of ours: no reason to end a monitor that is well
            why = f"to read {self._path} had an internal error ({bug!r:.80})"
        text = f"The new config is refused, the old one stays in use: {why}"
        return SourceFault("settings", "not-taken", text)

    def _load(self) -> NewConfig:
        new, ran = load(self._path), self._ran
        waits = (
            name for name in FIXED if attrgetter(name)(ran) != attrgetter(name)(new)
        )
        used = in_use(new, ran)
        core = compose_settings(used, wall=self._clock.wall())
        return NewConfig(used, core, tuple(waits))


def why_kept(history: History, old: Settings, new: Settings) -> str:
    """Return why the old config must stay; '' where it need not.

    A certified alarm that rings has the last word: a config that takes its contact
    away, or looks for it elsewhere, would end what only the contact may end.

    Args:
        history: what is known of the contacts.
        old: the config in use.
        new: the config that was read.
    """
    for key in filter(is_guard, history.series):
        name = history.layout.series[key].part
        is_closed = history.series[key].value >= TELLS
        if is_closed and new.parts.get(name) != old.parts.get(name):
            return (
                f"it removes, renames or changes [part.{name}], and the "
                f"{WORDS[means_of(key)]} on it is active; reload when that is over, or "
                "restart the monitor"
            )
    return ""


def take_config(watcher: Watcher, new: NewConfig, keeper: StateSaver) -> None:
    """Go on by another config, and say what of it only a restart takes over.

    Args:
        watcher: goes on with what it knows.
        new: the config from now on.
        keeper: shows what of the state could not be taken over.
    """
    # First: what is carried over may bring a fault of the settings of its own.
    watcher.on_event(SourceOk("settings"))
    now = watcher.up_s()
    state, lost = carry_over(watcher.state, new.core.setup, now)
    watcher.adopt(new.core, state)
    fields = start_fields(new.used, new.core.today) | {"reload": True}
    watcher.hand_out([Record("start", fields, urgent=True)], now)
    watcher.hand_out(resume(state, now), now)
    for text in lost:
        keeper.note(text)
    _tell_what_is_wrong(watcher, new.waits)


def _tell_what_is_wrong(watcher: Watcher, waits: Sequence[str]) -> None:
    """Report the one fault of the settings: the graver first, where there are two."""
    stay = "ones stay" if len(waits) > 1 else "one stays"
    restart = (
        f"New in the config: {', '.join(waits)}; the old {stay} in use until "
        f"`systemctl restart cabinvigil`."
    )
    unwatched = watcher.faults.get("settings")
    if unwatched is not None:
        text = f"{unwatched.text} Also: {restart}" if waits else unwatched.text
        watcher.on_event(replace(unwatched, text=text))
    elif waits:
        watcher.on_event(SourceFault("settings", "restart-needed", restart))


def is_rewired(old: Settings, new: Settings) -> bool:
    """Return whether parts, their buses or the pace of the ticks are others."""
    return (old.parts, old.i2c, old.watch.tick_s) != (
        new.parts,
        new.i2c,
        new.watch.tick_s,
    )
