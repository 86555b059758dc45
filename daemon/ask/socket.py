"""The same asks on a Unix socket of this machine, for `show`, `mark` and `precheck`.

One JSON object a line, one answer a line.  Who may ask is the socket's group.
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

from cabinvigil.daemon.ask.parse import (
    LARGEST,
    Ask,
    RateLimiter,
    RefusedError,
    parse_ask,
)
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.settings.config import Settings
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.json import json_line

CALLERS = 8
"""Connections at one time: commands are short, and memory is small."""
IDLE_S = 30.0
"""A connection that says nothing for so long is ended."""
TURNED_AWAY_S = 1.0
"""A caller too many is let go after this."""
ANSWER_S = 5.0
"""For the core's answer; a step takes a thousandth of it."""

Reply = Callable[[Mapping[str, Any]], None]


class AskError(CabinvigilError, OSError):
    """The watch cannot be asked; the message says why, and the remedy."""

    exit_code = ExitCode.MACHINE_FAILED

    def __str__(self) -> str:
        return self.strerror or "the watch cannot be asked"


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
    ) -> None:
        """Set it up; nothing listens before `serve`.

        Args:
            path: of the socket; its folder is made by the unit.
            group: who may ask; '' leaves the daemon's own.
            clock: for the gate.
            on_ask: takes an ask and the function that answers it, on the loop.
            on_refused: told a sentence for what is refused, at most every ten seconds.
        """
        self._path = path
        self._group = group
        self._clock = clock
        self._on_ask = on_ask
        self._on_refused = on_refused
        self._gate = RateLimiter(at_s=clock.monotonic())
        self._callers = 0

    async def serve(self, ready: Callable[[], None] = lambda: None) -> None:
        """Listen until cancelled.

        Raises:
            AskError: the socket cannot be made.
        """
        listener = self._listen()
        server = await asyncio.start_unix_server(
            self._call, sock=listener, limit=LARGEST + 1
        )
        try:
            async with server:
                ready()
                await server.serve_forever()
        finally:
            with suppress(OSError):
                self._path.unlink()

    def _listen(self) -> socket.socket:
        listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
        try:
            self._clear_stale()
            # The socket is born closed to all others: between bind and chmod there is
            # no moment at which somebody else may connect.
            before = os.umask(0o177)
            try:
                listener.bind(str(self._path))
            finally:
                os.umask(before)
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
        if not self._path.is_socket():
            return
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
            probe.settimeout(1.0)
            try:
                probe.connect(str(self._path))
            except ConnectionRefusedError:
                self._path.unlink()
                return
        raise OSError(errno.EADDRINUSE, "another watch listens there")

    async def _call(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        self._callers += 1
        try:
            if self._callers > CALLERS:
                await self._turn_away(reader, writer)
                return
            while True:
                async with asyncio.timeout(IDLE_S):
                    line = await reader.readline()
                if not line:
                    return
                await _say(writer, await self._answer(line))
        except (TimeoutError, ConnectionError):
            return
        except ValueError:  # a line longer than the limit
            with suppress(ConnectionError):
                await _say(writer, _no(f"a line is too long; at most {LARGEST} bytes"))
            self._refuse(f"a line is longer than {LARGEST} bytes")
        finally:
            self._callers -= 1
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

    async def _answer(self, line: bytes) -> Mapping[str, Any]:
        now_s = self._clock.monotonic()
        self._gate, is_in = self._gate.admit(now_s)
        if not is_in:
            self._refuse("too many asks; at most one a second")
            return _no("too many asks; wait a second")
        try:
            ask = parse_ask(line.strip(), "socket")
        except RefusedError as error:
            self._refuse(str(error))
            return _no(str(error))
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
            return {**head, **_no("the watch did not answer in time")}

    def _refuse(self, why: str) -> None:
        self._gate, count = self._gate.refuse(self._clock.monotonic())
        if count:
            others = f" ({count} refused since the last line)" if count > 1 else ""
            self._on_refused(f"An ask on the socket was refused: {why}{others}.")


def ask_watch(
    path: Path, fields: Mapping[str, Any], deadline_s: float = ANSWER_S + 1.0
) -> dict[str, Any]:
    """Ask the watch that runs on this machine; for commands.

    Args:
        path: of the socket.
        fields: the ask, `{"ask": "status"}`.
        deadline_s: for the answer.

    Raises:
        AskError: there is no watch, or no permission, or no answer.
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
            errno.EPROTO, f"What listens on {path} gave no answer; is it the watch?"
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
    why = getattr(error, "strerror", None) or str(error)
    return AskError(
        getattr(error, "errno", None) or errno.EIO,
        f"The socket {path} cannot be made ({why}); does its folder exist, and is it "
        f"the daemon's?",
    )


def _cannot_ask(path: Path, error: OSError) -> AskError:
    number = error.errno or errno.ETIMEDOUT
    if number in {errno.ENOENT, errno.ECONNREFUSED}:
        text = f"No watch listens on {path}; does it run? `systemctl status cabinvigil`"
    elif number in {errno.EACCES, errno.EPERM}:
        text = f"You may not ask on {path}; join the socket's group, and log in again"
    else:
        text = f"The watch on {path} did not answer ({error.strerror or 'too late'})"
    return AskError(number, text)


class WatchRunsError(CabinvigilError, RuntimeError):
    """The watch has the parts; the message says how to stop it."""

    exit_code = ExitCode.MACHINE_FAILED


def typed(prompt: str) -> str:
    """Ask a person for a line; '' where nobody is there to type one."""
    print(prompt, end="", file=sys.stdout, flush=True)  # noqa: T201
    line = sys.stdin.readline()
    return line.strip()


def watch_status(settings: Settings) -> dict[str, Any] | None:
    """Return what the running watch says of itself; None where none runs.

    Raises:
        AskError: one may run, and cannot be asked.
    """
    try:
        return ask_watch(Path(settings.ask.socket), {"ask": "status"})
    except AskError as error:
        if error.errno in (errno.ENOENT, errno.ECONNREFUSED):
            return None
        raise


def no_watch(settings: Settings, word: str) -> None:
    """See that no watch runs: two programs on one wire garble each other.

    Raises:
        WatchRunsError: one runs.
        AskError: one may run, and cannot be asked.
    """
    if watch_status(settings) is not None:
        raise WatchRunsError(
            f"the watch runs and has the parts: `systemctl stop cabinvigil`, then "
            f"`cabinvigil {word}`, then `systemctl start cabinvigil`"
        )
