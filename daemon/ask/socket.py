"""The same asks on a Unix socket of this machine, for `show`, `mark` and `precheck`.

One JSON object a line, one answer a line.  Who may ask is the socket's group; how often
is each caller's own affair, and none holds up another.
"""

import asyncio
import errno
import grp
import json
import os
import socket
import sys
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from cabinvigil.daemon.ask.callers import Caller, Callers, caller_of
from cabinvigil.daemon.ask.intake import BACKLOG, streams, take_in
from cabinvigil.daemon.ask.limits import FLOOD_S, AskLimits, kind_of
from cabinvigil.daemon.ask.making import OffLoop, SocketMaking, at_once
from cabinvigil.daemon.ask.parse import LARGEST, Ask, RefusedError, parse_ask
from cabinvigil.daemon.ask.probe import is_heard
from cabinvigil.daemon.clock import EARLIEST, Clock
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.json import json_line

IDLE_S = 5.0
"""A connection that says nothing for so long is ended."""
TURNED_AWAY_S = 1.0
"""A caller too many is let go after this."""
ANSWER_S = 5.0
"""For the core's answer; a step takes a thousandth of it."""

Reply = Callable[[Mapping[str, Any]], None]


class AskError(CabinvigilError, OSError):
    """The monitor cannot be asked; the message says why, and the remedy."""

    exit_code = ExitCode.MACHINE_FAILED

    def __str__(self) -> str:
        return self.strerror or "the monitor does not respond"


class AskSocket:
    """The server, in the daemon's own loop."""

    def __init__(
        self,
        path: Path,
        group: str,
        clock: Clock,
        *,
        on_ask: Callable[[Ask, Reply], None],
        on_refused: Callable[[str], None],
        on_flood: Callable[[bool], None] = lambda _is_flooded: None,
        off_loop: OffLoop = at_once,
    ) -> None:
        """Set it up; nothing listens before `serve`.

        Args:
            path: of the socket; its folder is made by the unit.
            group: who may ask; '' leaves the daemon's own.
            clock: for the gate.
            on_ask: takes an ask and the function that answers it, on the loop.
            on_refused: told a sentence for what is refused; ever more seldom while it
                goes on.
            on_flood: told when a flood of asks begins, and when it is over.
            off_loop: makes the socket where a folder or a list of groups that does
                not answer holds up nothing else.
        """
        self._path = path
        self._group = group
        self._clock = clock
        self._on_ask = on_ask
        self._on_refused = on_refused
        self._on_flood = on_flood
        self._off_loop = off_loop
        self._limits = AskLimits()
        self._is_flooded = False
        self._callers = Callers()

    async def serve(self, ready: Callable[[], None] = lambda: None) -> None:
        """Listen until cancelled; then whoever is connected is let go at once.

        Raises:
            AskError: the socket cannot be made.
        """
        making = SocketMaking(self._listen, self._path)
        try:
            listener = await self._off_loop(making.make)
        except BaseException:
            making.give_up()
            raise
        async with asyncio.TaskGroup() as calls:
            try:
                ready()
                await take_in(listener, calls, self._guarded, self._full)
            finally:
                listener.close()
                with suppress(OSError):
                    self._path.unlink()

    def _full(self, why: str) -> None:
        """Report that taking in pauses: at once, then ever more seldom."""
        self._tell(why, self._limits.crowded(self._clock.monotonic()))

    async def _guarded(self, sock: socket.socket) -> None:
        """Hear one caller; a bug met there ends no other's call."""
        try:
            reader, writer = await streams(sock)
            await self._call(reader, writer)
        except Exception as bug:
            self._on_refused(f"A request on the socket failed: {bug!r:.200}.")
        finally:
            sock.close()

    def _listen(self) -> socket.socket:
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._clear_stale()
            # The socket is born closed to all others: between bind and chmod there is
            # no moment at which somebody else may connect.  Linux takes the mode of
            # the unbound socket (unix(7) is silent, net/unix/af_unix.c says so); the
            # mask is the whole process's, and other threads make files meanwhile.
            os.fchmod(listener.fileno(), 0o600)
            listener.bind(str(self._path))
            listener.listen(BACKLOG)
            listener.setblocking(False)
            if self._group:
                self._open_to(grp.getgrnam(self._group).gr_gid)
        except (OSError, KeyError) as error:
            listener.close()
            raise _cannot_listen(self._path, self._group, error) from error
        return listener

    def _open_to(self, group_id: int) -> None:
        """Let a group in; its own group needs no chown, which the unit denies."""
        if self._path.stat().st_gid != group_id:
            os.chown(self._path, -1, group_id)
        self._path.chmod(0o660)

    def _clear_stale(self) -> None:
        """Remove a socket that a killed daemon left, and never one that lives."""
        if is_heard(self._path):
            raise AskError(errno.EADDRINUSE, another_watch(self._path))
        if self._path.is_socket():
            self._path.unlink()

    async def _call(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        caller = caller_of(writer, self._clock.monotonic())
        try:
            if not self._callers.admit(caller):
                await self._turn_away(reader, writer)
                return
            while True:
                async with asyncio.timeout(IDLE_S):
                    line = await reader.readline()
                if not line:
                    return
                caller.idle_since_s = None
                await _say(writer, await self._answer(line, caller))
                caller.idle_since_s = self._clock.monotonic()
                # Where the next lines are here already nothing above ever waits.
                await asyncio.sleep(0)
        except (TimeoutError, ConnectionError):
            return
        except ValueError:  # a line longer than the limit
            with suppress(ConnectionError):
                await _say(writer, _no(f"a line is too long; at most {LARGEST} bytes"))
            now_s = self._clock.monotonic()
            why = f"a line is longer than {LARGEST} bytes"
            self._tell(why, self._limits.refused(now_s))
        except asyncio.CancelledError:
            # Not `close`, which waits until the caller has read what it was told.
            writer.transport.abort()
            raise
        finally:
            self._callers.leave(caller)
            writer.close()
            with suppress(ConnectionError):
                await writer.wait_closed()

    async def _turn_away(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        """Say no, and read what was asked: closing on unread bytes loses the answer."""
        await _say(writer, _no("too many callers at once; try again"))
        async with asyncio.timeout(TURNED_AWAY_S):
            await reader.read(LARGEST)

    async def _answer(self, line: bytes, caller: Caller) -> Mapping[str, Any]:
        now_s, wall = self._clock.monotonic(), self._clock.wall()
        ask, why = None, ""
        try:
            ask = parse_ask(line.strip(), "socket", wall if wall >= EARLIEST else None)
        except RefusedError as error:
            why = str(error)
        kind = kind_of(ask)
        if not self._limits.admit(caller.process, kind, now_s, caller.user):
            self._crowd(now_s)
            return _no("too many requests; wait a second")
        if ask is None:
            self._tell(why, self._limits.refused(now_s))
            return _no(why)
        return await self._answer_of_core(ask)

    async def _answer_of_core(self, ask: Ask) -> Mapping[str, Any]:
        answered: asyncio.Future[Mapping[str, Any]] = (
            asyncio.get_running_loop().create_future()
        )

        def reply(body: Mapping[str, Any]) -> None:
            if not answered.done():
                answered.set_result(body)

        self._on_ask(ask, reply)
        head = {"answer": ask.verb, **({"id": ask.id} if ask.id else {})}
        try:
            async with asyncio.timeout(ANSWER_S):
                return {**head, **await answered}
        except TimeoutError:
            return {**head, **_no("the monitor did not respond in time")}

    def _crowd(self, now_s: float) -> None:
        """Count one refused for its number; tell when that is a flood."""
        count = self._limits.crowded(now_s)
        self._tell("too many requests; each caller has one a second", count)
        if not self._is_flooded and self._limits.is_flooded(now_s):
            self._is_flooded = True
            self._on_flood(True)
            asyncio.get_running_loop().call_later(FLOOD_S, self._look_at_flood)

    def _look_at_flood(self) -> None:
        """Report once it is over."""
        if self._limits.is_flooded(self._clock.monotonic()):
            asyncio.get_running_loop().call_later(FLOOD_S, self._look_at_flood)
        else:
            self._is_flooded = False
            self._on_flood(False)

    def _tell(self, why: str, count: int) -> None:
        if count:
            others = f" ({count} refused since the last line)" if count > 1 else ""
            self._on_refused(f"A request on the socket was refused: {why}{others}.")


def ask_watch(
    path: Path, fields: Mapping[str, Any], deadline_s: float = ANSWER_S + 1.0
) -> dict[str, Any]:
    """Ask the monitor that runs on this machine; for commands.

    Args:
        path: of the socket.
        fields: the ask, `{"ask": "status"}`.
        deadline_s: for the answer.

    Raises:
        AskError: there is no monitor, or no permission, or no answer.
    """
    data = json_line(fields).encode() + b"\n"
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as sock:
            sock.settimeout(deadline_s)
            sock.connect(str(path))
            sock.sendall(data)
            with sock.makefile("rb") as answers:
                answer = json.loads(answers.readline(1 << 20))
    except OSError as error:
        raise _cannot_ask(path, error) from error
    except ValueError as error:
        raise AskError(
            errno.EPROTO, f"What listens on {path} does not respond; is it the monitor?"
        ) from error
    return dict(answer) if isinstance(answer, dict) else {"ok": False, "text": answer}


async def _say(writer: asyncio.StreamWriter, body: Mapping[str, Any]) -> None:
    writer.write(json_line(body).encode() + b"\n")
    async with asyncio.timeout(IDLE_S):
        await writer.drain()


def _no(text: str) -> dict[str, Any]:
    return {"ok": False, "text": text}


def _cannot_listen(path: Path, group: str, error: Exception) -> AskError:
    if isinstance(error, KeyError):
        return AskError(
            errno.ENOENT,
            f"The group '{group}' does not exist; make it with "
            f"`groupadd --system {group}`",
        )
    if isinstance(error, AskError):
        return error
    why = getattr(error, "strerror", None) or str(error)
    return AskError(
        getattr(error, "errno", None) or errno.EIO,
        f"The socket {path} cannot be made ({why}); does its folder exist, and is it "
        f"the daemon's?",
    )


def another_watch(path: Path) -> str:
    """Say that two watches run, which share parts, sounder and log."""
    return (
        f"Another monitor listens on {path}: two cannot share sensors and sounder; "
        "stop one (`systemctl stop cabinvigil`)."
    )


def _cannot_ask(path: Path, error: OSError) -> AskError:
    number = error.errno or errno.ETIMEDOUT
    if number in {errno.ENOENT, errno.ECONNREFUSED}:
        text = (
            f"The monitor is not running (nothing listens on {path}). Check: "
            "systemctl status cabinvigil"
        )
    elif number in {errno.EACCES, errno.EPERM}:
        text = f"You may not use {path}; join its group, and log in again"
    else:
        text = f"The monitor on {path} did not respond ({error.strerror or 'too late'})"
    return AskError(number, text)


class WatchRunsError(CabinvigilError, RuntimeError):
    """The monitor has the parts; the message says how to stop it."""

    exit_code = ExitCode.MACHINE_FAILED


NOBODY = "\x04"
"""In place of a line where nobody types one: it is neither a yes nor Enter."""


def typed(prompt: str) -> str:
    """Ask a person for a line; `NOBODY` where none is there, or presses Ctrl-D."""
    print(prompt, end="", file=sys.stdout, flush=True)  # noqa: T201
    line = sys.stdin.readline()
    return line.strip() if line else NOBODY


def ask_status(path: Path) -> dict[str, Any]:
    """Return what the running monitor says of itself.

    Raises:
        AskError: there is none, or it cannot be asked, or it does not say.
    """
    answer = ask_watch(path, {"ask": "status"})
    if not answer.get("ok"):
        raise AskError(
            errno.EBUSY,
            "The monitor runs but does not report its state "
            f"({answer.get('text', 'no reason given')}); wait a moment",
        )
    return answer


def watch_status(settings: Settings) -> dict[str, Any] | None:
    """Return what the running monitor says of itself; None where none runs.

    Raises:
        AskError: one may run, and cannot be asked, or does not say.
    """
    try:
        return ask_status(Path(settings.ask.socket))
    except AskError as error:
        if error.errno in (errno.ENOENT, errno.ECONNREFUSED):
            return None
        raise


def no_watch(settings: Settings, word: str) -> None:
    """See that no monitor runs: two programs on one wire garble each other.

    Raises:
        WatchRunsError: one runs.
        AskError: one may run, and cannot be asked.
    """
    try:
        runs = watch_status(settings) is not None
    except AskError as error:
        if error.errno != errno.EBUSY:
            raise
        runs = True
    if runs:
        raise WatchRunsError(
            "the monitor runs and uses the sensors: `systemctl stop cabinvigil`, "
            f"then `cabinvigil {word}`, then `systemctl start cabinvigil`"
        )
