"""A rehearsal that can be asked and listened to, as the monitor itself.

The air is invented and may run faster than the clock on the wall; whoever asks, listens
and answers lives by the wall.  So all that goes out bears the real moment, and is
marked as emulated.
"""

import asyncio
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.limits import MarkLimit
from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.ask.socket import AskSocket
from cabinvigil.daemon.clock import SystemClock, TimeSource
from cabinvigil.daemon.core.model import SourceFault, SourceOk
from cabinvigil.daemon.outputs.base import Output
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.rehearsal.loudspeaker import Loudspeaker
from cabinvigil.daemon.service.asks import answer_to
from cabinvigil.daemon.service.outlets import make_phone
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings

Reply = Callable[[Mapping[str, Any]], None]


class LiveClock:
    """The loop's own seconds, and the moment on the wall."""

    def __init__(self, loop: TimeSource) -> None:
        """Take the loop whose seconds count."""
        self._loop = loop
        self._real = SystemClock()

    def monotonic(self) -> float:
        """Return the loop's time, however fast it runs."""
        return self._loop.time()

    def wall(self) -> datetime:
        """Return the machine's UTC wall time."""
        return self._real.wall()


class LiveEnds:
    """The ways in and out of a live rehearsal."""

    def __init__(
        self,
        settings: Settings,
        socket: Path,
        *,
        with_sound: bool,
        say: Callable[[str], None],
    ) -> None:
        """Set it up, on the loop; nothing is opened before the rehearsal begins.

        Args:
            settings: of the cabin that is played.
            socket: where it can be asked.
            with_sound: play the sounder's patterns on this machine's loudspeaker.
            say: takes a line for whoever looks on.
        """
        self._settings = settings
        self._socket = socket
        self._with_sound = with_sound
        self._say = say
        self._watcher: Watcher | None = None
        self._marks = MarkLimit()
        self._loop = asyncio.get_running_loop()
        self._clock = SystemClock()

    def outputs(self) -> list[Output]:
        """Make broker and sound; each lives by the machine's own clock."""
        made: list[Output] = []
        if self._with_sound:
            made.append(Buzzer(Loudspeaker, self._clock, self._report))
        phone = make_phone(
            self._settings,
            self._clock,
            self._report,
            self._from_thread,
            self._refused,
            is_emulated=True,
        )
        return made if phone is None else [*made, phone]

    async def beside(self, watcher: Watcher) -> None:
        """Answer on the socket, until cancelled.

        Raises:
            AskError: the socket cannot be made.
        """
        self._watcher = watcher
        server = AskSocket(
            self._socket,
            "",
            self._clock,
            on_ask=self._answer,
            on_refused=self._refused,
        )
        await server.serve(lambda: self._say(f"To ask it: --socket {self._socket}"))

    def _answer(self, ask: Ask, reply: Reply) -> None:
        if self._watcher is None:
            return
        wall = self._clock.wall()
        answer = answer_to(ask, self._watcher, self._settings, wall, marks=self._marks)
        reply({**answer, "emulated": True})

    def _from_thread(self, ask: Ask, reply: Reply) -> None:
        self._soon(self._answer, ask, reply)

    def _refused(self, text: str) -> None:
        self._soon(self._say, f"refused: {text}")

    def _report(self, event: SourceFault | SourceOk) -> None:
        """Say what a way out lacks; it is no fault of the night that is played."""
        if isinstance(event, SourceFault):
            self._soon(self._say, event.text)

    def _soon(self, call: Callable[..., None], *values: Any) -> None:
        with suppress(RuntimeError):  # at the very end there may be no loop any more
            self._loop.call_soon_threadsafe(call, *values)
