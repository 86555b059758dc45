"""The running process: broker, cabins, addresses and page in one task group."""

import asyncio
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Protocol

from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.outputs.mqtt.messages import NOTE
from cabinvigil.daemon.phone.asks import Asks
from cabinvigil.daemon.phone.board import Board
from cabinvigil.daemon.phone.devices import Devices
from cabinvigil.daemon.phone.dispatch import Dispatch
from cabinvigil.daemon.phone.inbound import (
    AnswerHeard,
    BeatHeard,
    BridgeHeard,
    PresenceHeard,
    TextHeard,
)
from cabinvigil.daemon.phone.keeper import Keeper
from cabinvigil.daemon.phone.lanes import Lane
from cabinvigil.daemon.phone.limits import usual_limits
from cabinvigil.daemon.phone.listener import Listener, Mail
from cabinvigil.daemon.phone.page import Page
from cabinvigil.daemon.phone.ping import Ping
from cabinvigil.daemon.phone.push import Push
from cabinvigil.daemon.phone.receipts import Receipts
from cabinvigil.daemon.phone.rings import silence_rings
from cabinvigil.daemon.phone.settings import PhoneSettings, is_loopback, texts_of
from cabinvigil.daemon.phone.silence import FORGOTTEN, KeptSilence, SilenceWatch
from cabinvigil.daemon.phone.state_folder import lock
from cabinvigil.daemon.phone.store import Store
from cabinvigil.daemon.text.units_said import units_named

LOOK_S = 0.5
"""Between two looks at every cabin."""
KEEP_S = 60.0
"""Between two writings of what is known of the cabins, where nothing was told."""
PING_S = 60.0
AT_ONCE = 20
"""Messages that are looked at before others get a turn, a new text before all of them
(our choice: less than a millisecond)."""


class Systemd(Protocol):
    """What systemd is told; `service.watchdog.Notifier`."""

    def ready(self, status: str) -> None:
        """All is set up."""
        ...

    def status(self, status: str) -> None:
        """How it stands."""
        ...

    def feed(self) -> None:
        """A look was completed."""
        ...

    def stopping(self) -> None:
        """It ends in order."""
        ...


def expected(
    settings: PhoneSettings, kept: Mapping[str, KeptSilence]
) -> tuple[str, ...]:
    """Return the cabins to be missed from the first moment.

    Those that the config no longer names are among them only where they were heard and
    still are listened to: a name that was mistyped once is not told as silent for ever.
    """
    others = (
        name
        for name, one in kept.items()
        if (one.run or one.kind == FORGOTTEN)
        and not settings.only_these
        and name not in settings.cabins
    )
    return (*settings.cabins, *others)


class PhoneService:
    """One run."""

    def __init__(
        self,
        settings: PhoneSettings,
        pushes: Mapping[str, Push],
        clock: Clock,
        systemd: Systemd,
        say: Callable[[str], None],
    ) -> None:
        """Set everything up; nothing runs before `run`.

        Args:
            settings: what is wanted.
            pushes: by the name of an address, what pushes there.
            clock: monotonic and wall.
            systemd: is told how it stands.
            say: takes a line for the journal.
        """
        self._settings = settings
        self._clock = clock
        self._systemd = systemd
        self._say = say
        self._broker = settings.broker.as_broker()
        self._loop = asyncio.get_running_loop()
        self._news = asyncio.Event()
        self._listener = Listener(
            self._broker,
            clock,
            self._wake,
            only=settings.cabins if settings.only_these else (),
        )
        self._silence = SilenceWatch()
        self._store = Store(Path(settings.state_folder))
        self._is_kept = True
        self._keeper = Keeper(self._store, self._on_disk)
        self._texts = texts_of(settings)
        self._dispatch = Dispatch(settings.to, self._keeper, clock, say, self._texts)
        for one in settings.to:
            lane = Lane(one, pushes[one.name], clock, self._dispatch, self._texts)
            self._dispatch.lanes[one.name] = lane
        self._receipts = Receipts(self._dispatch, self._listener.confirm)
        units = units_named(settings.page and settings.page.units)
        self.board = Board(self._silence, usual_limits(), self.place, units)
        self._asks = Asks(self.board, self._listener, clock)
        self._dispatch.on_test = self._asks.report
        self._problem = ""
        self._is_full = self._is_fought = False
        self._kept_s = clock.monotonic()
        self.page = self._make_page()
        self._bugs: set[str] = set()

    def _make_page(self) -> Page | None:
        wanted = self._settings.page
        if wanted is None:
            return None
        devices = Devices(self._settings.token_path)
        asks = self._asks
        return Page(
            *(wanted, self.board, devices, self._clock, asks.answer, self._say),
            mark=asks.mark,
        )

    @property
    def place(self) -> str:
        """Where this runs, in a sentence."""
        if is_loopback(self._broker.host):
            return (
                "This runs on the broker's machine: if that is the cabin's, both "
                "fail together, and nobody notices."
            )
        return f"This runs apart from the cabin, at the broker {self._broker.where}."

    def _wake(self) -> None:
        """Wake the loop, from the listener's thread."""
        with suppress(RuntimeError):  # at the very end there may be no loop any more
            self._loop.call_soon_threadsafe(self._news.set)

    def _on_disk(self, why: str) -> None:
        self._is_kept = not why
        form = "queue" if why else "queue_well"
        self._dispatch.report(self._texts(form, path=self._store.path, why=why))

    # --- the run ----------------------------------------------------------------

    async def run(self, until: asyncio.Event) -> None:
        """Listen, ring and serve, until told to stop.

        Raises:
            PhoneError: another process has this config, or the page cannot listen.
            StoreError: nothing can be kept.
        """
        # A push must not wait for the interpreter behind the listener's flood: at
        # Python's own 5 ms it does.
        sys.setswitchinterval(0.001)
        with lock(Path(self._settings.state_folder)):
            note = await self._keeper.open()
            waiting, cabins = await self._keeper.load(self._clock.wall().timestamp())
            now_s = self._clock.monotonic()
            for name in expected(self._settings, cabins):
                self._silence.expect(name, now_s, cabins.get(name))
            self._dispatch.resume(waiting)
            if note:
                self._dispatch.report(note)
            self._say(self.place)
            if self.page is not None:
                await self.page.start()
            self._listener.start()
            try:
                await self._run(until)
            finally:
                self._systemd.stopping()
                if self.page is not None:
                    await self.page.stop()
                self._listener.stop(2.0)
                self._keep_cabins()
                await self._keeper.close()

    async def _run(self, until: asyncio.Event) -> None:
        async with asyncio.TaskGroup() as group:
            works = [self._mails(), self._looks()]
            works += [lane.run() for lane in self._dispatch.lanes.values()]
            if self._settings.ping_url:
                works.append(self._pings(self._settings.ping_url))
            tasks = [group.create_task(work) for work in works]
            await until.wait()
            for task in tasks:
                task.cancel()

    async def _mails(self) -> None:
        """Take what the broker brings."""
        while True:
            await self._news.wait()
            self._news.clear()
            try:
                self._read(self._listener.collect(AT_ONCE))
            except Exception as bug:  # what a message may do to us ends nothing
                self._stumbled(bug)
            await asyncio.sleep(0.0)

    async def _looks(self) -> None:
        """Look at every cabin, twice a second."""
        told_ready = False
        while True:
            began_s = self._clock.monotonic()
            try:
                self._look(began_s)
                if not told_ready:
                    told_ready = True
                    self._systemd.ready(self._status())
                self._systemd.feed()
            except Exception as bug:  # systemd's watchdog ends what goes on stumbling
                self._stumbled(bug)
            took_s = self._clock.monotonic() - began_s
            await asyncio.sleep(max(0.05, LOOK_S - took_s))

    def _stumbled(self, bug: Exception) -> None:
        text = f"{type(bug).__name__}: {bug}"[:200]
        if text not in self._bugs and len(self._bugs) < 20:
            self._bugs.add(text)
            self._say(f"A bug ({text}): it goes on; please report it.")

    # --- what comes in -------------------------------------------------------------

    def _read(self, mails: Sequence[Mail]) -> None:
        self._silence.connected(self._listener.is_up, self._clock.monotonic())
        # What calls a person goes before all; then signs of life, which say which
        # cabins there are.
        texts = [mail for mail in mails if isinstance(mail.heard, TextHeard)]
        self._receipts.send(texts)
        later = [mail for mail in mails if not self._is_life(mail)]
        for mail in later:
            if isinstance(mail.heard, AnswerHeard):
                self._asks.answered(mail.heard)
            else:
                self.board.hear(mail.heard, mail.at_s, is_retained=mail.is_retained)
        if self.page is not None:
            self.page.changed()

    def _is_life(self, mail: Mail) -> bool:
        match mail.heard:
            case BeatHeard() as beat:
                if self._silence.heartbeat(
                    beat, mail.at_s, is_retained=mail.is_retained
                ):
                    self.board.alive(beat, mail.at_s)
            case PresenceHeard(cabin, word):
                self._silence.presence(cabin, word, mail.at_s)
            case BridgeHeard(cabin, is_up):
                self._silence.bridge(cabin, is_up, mail.at_s)
            case _:
                return False
        return True

    def _look(self, now_s: float) -> None:
        self._silence.connected(self._listener.is_up, now_s)
        wall = self._clock.wall().astimezone()
        news = self._silence.look(now_s)
        ident = self._dispatch.fresh_id() if news else ""
        rings = silence_rings(
            *(news, self._texts, now_s, wall, self._broker.where, ident),
            lambda cabin: self.board.unresolved(cabin, now_s),
        )
        for ring in rings:
            self._say(ring.text)
        if own := [*rings, *self._dispatch.notices()]:
            self._dispatch.send(own)
        self._say_problem(now_s)
        if news or now_s - self._kept_s >= KEEP_S:
            self._kept_s = now_s
            self._keep_cabins()
            self._systemd.status(self._status())
        if news and self.page is not None:
            self.page.changed()

    def _keep_cabins(self) -> None:
        wall_s = self._clock.wall().timestamp()
        if wall_s >= EARLIEST.timestamp():
            self._keeper.keep_cabins(
                self._silence.kept(self._clock.monotonic()), wall_s
            )

    def _say_problem(self, now_s: float) -> None:
        """Say once what keeps us from the broker, and that it is over."""
        was_fought = self._is_fought
        self._is_fought = self._listener.is_fought_over(now_s)
        if self._is_fought:  # in place of each of its many turns
            if not was_fought:
                self._dispatch.report(
                    f"The broker at {self._broker.where} disconnects us again and "
                    "again, and messages may be lost: does another cabinvigil phone "
                    f"have the client_id '{self._broker.client_id}'? Give each its "
                    "own."
                )
            return
        error = None if self._listener.is_up else self._listener.problem
        text = "" if error is None else error.text
        if text and text != self._problem:
            self._say(text)
        elif self._problem and self._listener.is_up:
            self._say(f"Connected to the broker at {self._broker.where}.")
        if text or self._listener.is_up:
            self._problem = text
        if self._silence.is_full and not self._is_full:
            self._is_full = True
            self._dispatch.report(
                "The broker has more cabins than one process can handle; split them "
                "by topic, as DEVELOPERS.md says."
            )

    def _status(self) -> str:
        count = len(self._silence.cabins)
        reach = "" if self._listener.is_up else "; the broker is out of reach"
        dead = f"; not reached: {', '.join(self._dispatch.dead)}"
        return f"{count} cabins{reach}{dead if self._dispatch.dead else ''}"

    # --- what goes out -------------------------------------------------------------

    @property
    def is_well(self) -> bool:
        """Whether this process does all of its work."""
        return self._listener.is_up and self._is_kept and not self._dispatch.dead

    async def _pings(self, url: str) -> None:
        ping, is_told = Ping(url), False
        while True:
            if self.is_well:
                reason = await ping.fetch()
                if reason and not is_told:
                    self._dispatch.report(
                        f"ping_url cannot be fetched ({reason}): the dead-man check "
                        "will report this process as dead.",
                        NOTE,
                    )
                is_told = bool(reason)
            await asyncio.sleep(PING_S)
