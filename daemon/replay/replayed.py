"""Where the replay of a log stands: what is known, and how far it has come."""

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from typing import Any

from cabinvigil.daemon.clock import EARLIEST
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import State, start, step
from cabinvigil.daemon.core.model import Command, Event
from cabinvigil.daemon.core.setup import Render, Setup
from cabinvigil.daemon.core.snapshot import carry_over, restore, resume
from cabinvigil.daemon.log.reader import LogLine
from cabinvigil.daemon.log.whole_state import WholeStateError, from_text
from cabinvigil.daemon.settings.config import Settings

Choose = Callable[[Mapping[str, Any]], Settings]
"""Makes settings of the config that a start record holds."""
Note = Callable[[str], None]
"""Takes a sentence on what a replay cannot know."""


Narrow = Callable[[Setup], Setup]
"""Leaves out of a setup what nobody asks of the replay."""


def whole(setup: Setup) -> Setup:
    """Leave out nothing."""
    return setup


def unsaid(_text: str) -> None:
    """Pass over what a replay cannot know."""


MOST_PIECES = 100
"""Of a state: a log's own has three."""
NO_STATE = (
    "it continues a run without the state at its start: alarms from before may sound "
    "again, and the forecast starts again."
)


class Replayed:
    """Takes a log's lines in their order."""

    def __init__(
        self,
        settings: Settings | None,
        render: Render,
        choose: Choose,
        *,
        is_tried: bool,
        narrow: Narrow,
        note: Note,
    ) -> None:
        """Begin; see `replay_log`."""
        self._settings = settings
        self._render = render
        self._choose = choose
        self._is_tried = is_tried or settings is not None
        self._narrow = narrow
        self._note = note
        self._offset_s = self._last_s = 0.0
        self._has_begun = False
        self._takes_state = self._lacks_state = False
        self._pieces: list[str] = []
        self.state: State | None = None
        if settings is not None:
            self.state = start(narrow(compose_settings(settings, render).setup), 0.0)

    @property
    def time_s(self) -> float:
        """The moment that it has come to, from the first run's start."""
        return self._offset_s + self._last_s

    def step(self, event: Event, up_s: float) -> list[Command]:
        """Take an event of the run that goes on; `begin` or settings came before."""
        assert self.state is not None
        if self._lacks_state:
            self._lacks_state = self._takes_state = False
            self._note(NO_STATE)
        self._last_s = max(self._last_s, up_s)
        self.state, commands = step(self.state, event, self._last_s)
        return commands

    def begin(self, line: LogLine) -> list[Command] | None:
        """Take a start record; return what it says, None where it begins nothing."""
        goes_on = line.fields.get("continues") is True
        is_same = goes_on and self._has_begun and line.up_s >= self._last_s
        # A state of the log's own is as good as ours, and better where lines are lost.
        self._takes_state = goes_on and not (is_same and self._is_tried)
        self._lacks_state = self._takes_state and not is_same
        self._pieces = []
        if is_same:
            return None
        if self._has_begun and line.up_s < self._last_s:
            self._offset_s += self._last_s  # a new run: its clock begins again
        self._last_s = line.up_s
        setup = self._setup_of(line)
        if setup is None:
            self.state = None
            return None
        self._has_begun = True
        fields = line.fields
        if fields.get("reload") and self.state is not None:
            self.state, _ = carry_over(self.state, setup, line.up_s)
            return resume(self.state, line.up_s)
        kept = fields.get("kept")
        if kept is None or goes_on:
            self.state = start(setup, line.up_s)
            return []
        self.state, _ = restore(setup, kept, line.up_s, down_s=fields.get("down_s"))
        return resume(self.state, line.up_s)

    def take_piece(self, line: LogLine) -> None:
        """Take a piece of what was known when the file began; the last completes it."""
        number, count, text = (line.fields.get(key) for key in PIECE_KEYS)
        is_next = number == len(self._pieces) + 1 and len(self._pieces) < MOST_PIECES
        if not self._takes_state or self.state is None or not is_next:
            return
        self._pieces.append(text if isinstance(text, str) else "")
        if number != count:
            return
        try:
            self.state = from_text(self.state.setup, "".join(self._pieces))
            self._lacks_state = False
        except WholeStateError as error:
            if self._lacks_state:
                self._note(f"it has the state at its start, but that {error}.")
        self._takes_state = False

    def _setup_of(self, line: LogLine) -> Setup | None:
        ran = self._settings
        if ran is None:
            plain = line.fields.get("config")
            if not isinstance(plain, dict):
                return None
            ran = self._choose(plain)
        return self._narrow(
            compose_settings(ran, self._render, today=_today(line)).setup
        )


PIECE_KEYS = ("piece", "pieces", "known")


def _today(line: LogLine) -> date | None:
    """Return the date that service lives were counted from when the run began."""
    fields = line.fields
    told = fields.get("today")
    if isinstance(told, str):
        try:
            return date.fromisoformat(told)
        except ValueError:
            return None
    if "today" in fields or fields.get("emulated") or line.wall is None:
        return None
    try:  # a log of the first version: its run began so long before
        began = line.wall - timedelta(seconds=line.up_s)
    except OverflowError:
        return None
    return began.date() if began >= EARLIEST else None
