"""What was kept of the last run, read without holding up the start.

The state, and the spans of the parts, lie on a disk that may not answer: a card that
fails, a stick that sleeps.  The monitor waits for it a moment, and goes on without.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.core.model import Record, SourceFault, SourceOk
from cabinvigil.daemon.core.snapshot import restore, resume
from cabinvigil.daemon.outputs.state_file import (
    Kept,
    StateFile,
    StateSaver,
    UnreadError,
)
from cabinvigil.daemon.sampling.wiring import MakeCodec, from_config
from cabinvigil.daemon.service.status import start_fields
from cabinvigil.daemon.service.watcher import Watcher
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.threads.worker import Worker

RECALL_S = 1.0
"""So long the start waits (our choice): a card that sleeps answers in a tenth of it,
and the sounder is to be able to sound 2 s after the process began."""
AGAIN_SOON_S, AGAIN_S = 0.25, 10.0
"""After a try that the disk refused: while the start waits, and later (our choice)."""
PATIENCE_S = 600.0
"""What the disk still refuses then is put aside: else this night's answers would never
be saved (our choice)."""
_EVER_S = 1e9
TOO_LATE = (
    "The state folder {folder} has not responded for {for_s:g} s: the monitor starts "
    "without earlier acknowledgements and doses, and without the sensors' last "
    "calibrations; check the disk."
)
REFUSED = (
    "The state in {folder} cannot be read ({error}): the monitor starts without "
    "earlier acknowledgements and doses, and without the sensors' last calibrations; "
    "nothing is overwritten, and it tries again; check the disk."
)
PUT_ASIDE = (
    "The state in {folder} could not be read for {for_s:g} s ({error}): it is set "
    "aside as {name}.unread and not used; check the disk."
)
SPANS_LATE = (
    "The state folder {folder} responded late: its state is used from now on, and "
    "the sensors continue without their last calibrations until a restart."
)

Tell = Callable[[SourceFault | SourceOk], None]
Codecs = Callable[[Path, Tell], MakeCodec]


@dataclass(frozen=True, slots=True)
class Recalled:
    """What the last run left."""

    kept: Kept
    make: MakeCodec
    """Makes the parts' codecs, with their last spans put in."""


NOTHING = Recalled(Kept(), from_config)


class Recall:
    """Reads it in a thread of its own; is made on the loop."""

    def __init__(
        self, file: StateFile, folder: Path, codecs: Codecs, clock: Clock, tell: Tell
    ) -> None:
        """Set it up.

        Args:
            file: the state.
            folder: where the spans are kept.
            codecs: reads them, and returns what makes the codecs.
            clock: to tell how long the monitor was down.
            tell: takes faults, from any thread.
        """
        self._file = file
        self._folder = folder
        self._codecs = codecs
        self._clock = clock
        self._tell = tell
        self._worker = Worker("recall", stays=False)
        self._error: UnreadError | None = None
        self._recalled: asyncio.Future[Recalled] = (
            asyncio.get_running_loop().create_future()
        )

    async def read(self) -> None:
        """Read it, as long as that takes; to be begun as a task before `first`."""
        began_s = self._clock.monotonic()
        while not self._recalled.done():
            try:
                recalled = await self._worker.call(self._load, _EVER_S)
            except UnreadError as error:
                self._error = error
                for_s = self._clock.monotonic() - began_s
                if for_s < PATIENCE_S:
                    is_waited_for = for_s < RECALL_S
                    await asyncio.sleep(AGAIN_SOON_S if is_waited_for else AGAIN_S)
                    continue
                recalled = await self._put_aside(error)
            except Exception as bug:  # no file of ours keeps the monitor from starting
                text = f"What was kept cannot be used ({bug!r:.80}): it is left aside."
                recalled = Recalled(Kept(notes=(text,)), from_config)
            self._recalled.set_result(recalled)

    async def _put_aside(self, error: UnreadError) -> Recalled:
        def load() -> Recalled:
            self._file.put_unread_aside()
            return self._load()

        try:
            recalled = await self._worker.call(load, _EVER_S)
        except UnreadError:  # nor can it be renamed: told as what cannot be written
            recalled = NOTHING
        folder, name = self._folder, self._file.path.name
        text = PUT_ASIDE.format(folder=folder, for_s=PATIENCE_S, error=error, name=name)
        kept = replace(recalled.kept, notes=(text, *recalled.kept.notes))
        return replace(recalled, kept=kept)

    async def first(self) -> Recalled | None:
        """Return it; None where the disk does not give it in time, which is told."""
        await asyncio.wait({self._recalled}, timeout=RECALL_S)
        if self._recalled.done():
            return self._recalled.result()
        text = TOO_LATE.format(folder=self._folder, for_s=RECALL_S)
        if self._error is not None:
            text = REFUSED.format(folder=self._folder, error=self._error)
        self._tell(SourceFault("state", "blocked", text))
        return None

    async def late(self) -> Kept:
        """Wait for the state as long as it takes; the spans come too late."""
        recalled = await self._recalled
        kept = recalled.kept
        text = SPANS_LATE.format(folder=self._folder)
        if kept.body is None:  # else whoever takes it over tells them
            text = " ".join((*kept.notes, text))
        self._tell(SourceFault("state", "restart-needed", text))
        return kept

    def _load(self) -> Recalled:
        kept = self._file.load(self._clock.wall(), self._clock.monotonic())
        return Recalled(kept, self._codecs(self._folder, self._tell))


def take_kept(
    watcher: Watcher, settings: Settings, kept: Kept, keeper: StateSaver
) -> None:
    """Log a start, and go on where the last run was left.

    A replay does the same at the same line.

    Args:
        watcher: as it is; what it knows of the air gives way, of faults it stays.
        settings: what runs.
        kept: the last run's state; its body may be None.
        keeper: shows what was wrong with it.
    """
    now, fields = watcher.up_s(), start_fields(settings, watcher.composed.today)
    faults = watcher.faults
    lost: list[str] = []
    if kept.body is not None:
        setup = watcher.composed.setup
        state, lost = restore(setup, kept.body, now, down_s=kept.down_s)
        watcher.adopt(watcher.composed, state)
        fields |= {"kept": kept.body, "down_s": kept.down_s}
    watcher.hand_out([Record("start", fields, urgent=True)], now)
    watcher.hand_out(resume(watcher.state, now), now)
    for fault in faults.values():
        if watcher.faults.get(fault.source) != fault:
            watcher.on_event(fault)
    for text in (*kept.notes, *lost):
        keeper.note(text)
