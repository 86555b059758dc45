"""The live page's server; the only file that knows aiohttp.

Whoever reaches it may be hostile: connections, streams, bytes and times are bounded,
and nothing it is sent reaches the monitor but an answer that `answers` lets through.
"""

import asyncio
import json
from collections import Counter
from collections.abc import Awaitable, Callable
from importlib.resources import files
from typing import Any, cast
from urllib.parse import urlsplit

from aiohttp import web

from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.phone.answers import MOST_BYTES, RefusedPressError
from cabinvigil.daemon.phone.board import Board
from cabinvigil.daemon.phone.devices import Devices
from cabinvigil.daemon.phone.settings import PageSettings, links_of
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.json import dumps

FILES = {
    # What is served, with its type; nothing else, and nothing from outside.
    "/": ("page.html", "text/html"),
    "/page.css": ("page.css", "text/css"),
    "/page.js": ("page.js", "text/javascript"),
    "/drawing.js": ("drawing.js", "text/javascript"),
    "/sound.js": ("sound.js", "text/javascript"),
}
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
MOST_CONNECTIONS = 100
MOST_STREAMS, MOST_STREAMS_EACH = 40, 8
"""Pages that are open, in all and from one address (our choice)."""
IDLE_S = 10.0
"""A connection that asks nothing for so long is closed, half a request in it too."""
WRITE_S = 5.0
"""A reader that takes nothing for so long is let go."""
EVERY_S = 1.0
"""Between two views: the page calls what is older than 5 s not known."""
LEAST_S = 0.2
"""Between two views, however much happens."""
PAST_EVERY_S = 30.0
ROWS_EVERY_S = 3.0
MOST_ROWS = 200

NOT_PAIRED = "Not paired: run `cabinvigil phone --pair NAME` in the cabin."
NOT_ALLOWED = (
    "Acknowledging and marking are not allowed here: see may_answer in [page]."
)

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]
Answer = Callable[[Any, str], Awaitable[tuple[bool, str]]]
"""Passes a press on: the JSON and the device's name; whether it was taken, and why."""


class PageError(CabinvigilError):
    """The page cannot be served."""

    exit_code = ExitCode.MACHINE_FAILED


class Page:
    """Serves the page; everything in it runs on the loop."""

    def __init__(
        self,
        settings: PageSettings,
        board: Board,
        devices: Devices,
        clock: Clock,
        answer: Answer,
        say: Callable[[str], None],
        *,
        mark: Answer,
    ) -> None:
        """Set it up; nothing listens before `start`.

        Args:
            settings: where to listen, and who may do what.
            board: what is shown.
            devices: who is paired.
            clock: for `as_of_ms`.
            answer: passes a press on.
            say: takes a line for the journal.
            mark: passes a mark on.
        """
        self._settings = settings
        self._board = board
        self._devices = devices
        self._clock = clock
        self._answer = answer
        self._mark = mark
        self._say = say
        self._files = {
            path: (files(__package__).joinpath(name).read_bytes(), kind)
            for path, (name, kind) in FILES.items()
        }
        self._changed = asyncio.Condition()
        self._version = 0
        self._streams: Counter[str] = Counter()
        self._rows: tuple[float, list[dict[str, Any]]] = (float("-inf"), [])
        self._seen: dict[Any, float] = {}
        self._runner: web.AppRunner | None = None
        self._tasks: set[asyncio.Task[None]] = set()

    # --- start and stop ---------------------------------------------------------

    async def start(self) -> None:
        """Listen.

        Raises:
            PageError: the address is taken, or not ours.
        """

        @web.middleware
        async def guard(request: web.Request, handler: Handler) -> web.StreamResponse:
            return await self._guard(request, handler)

        app = web.Application(middlewares=[guard], client_max_size=MOST_BYTES)
        for path in FILES:
            app.router.add_get(path, self._file)
        app.router.add_get("/events", self._events)
        app.router.add_post("/answer", self._heard)
        app.router.add_post("/mark", self._marked)
        self._runner = web.AppRunner(
            app, access_log=None, keepalive_timeout=IDLE_S, shutdown_timeout=0.5
        )
        await self._runner.setup()
        host, port = self._settings.host_and_port
        loop = asyncio.get_running_loop()
        try:
            self._server = await loop.create_server(
                self._protocol, host, port, reuse_address=True, backlog=128
            )
        except (OSError, OverflowError) as error:
            await self._runner.cleanup()
            why = getattr(error, "strerror", None) or str(error)
            raise PageError(
                f"The page cannot listen at {self._settings.listen} ({why}); set "
                f"`listen` in [page] to a free port of this machine."
            ) from error
        self._spawn(self._sweep())
        self._say(f"The page is at {self.links[0]}")

    async def stop(self) -> None:
        """Close every connection."""
        for task in tuple(self._tasks):
            task.cancel()
        if self._runner is not None:
            self._server.close()
            await self._runner.cleanup()
            self._runner = None

    def changed(self) -> None:
        """Have every open page told, soon."""
        self._version += 1
        self._spawn(self._notify())

    async def _notify(self) -> None:
        async with self._changed:
            self._changed.notify_all()

    def _spawn(self, work: Any) -> None:
        if len(self._tasks) > 10:
            work.close()
            return
        task = asyncio.ensure_future(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)

    @property
    def names(self) -> frozenset[str]:
        """What the Host of a request may say."""
        port = self._settings.host_and_port[1]
        names = {f"{host}:{port}" for host in ("localhost", "127.0.0.1", "[::1]")}
        names |= {self._settings.listen, *self._settings.hosts}
        return frozenset(name.lower() for name in names)

    @property
    def links(self) -> tuple[str, ...]:
        """Where it is found, as a person types it."""
        return links_of(self._settings)

    def _protocol(self) -> asyncio.BaseProtocol:
        """Return what serves a new connection: none, where there are too many."""
        assert self._runner is not None
        server = self._runner.server
        assert server is not None
        if len(server.connections) >= MOST_CONNECTIONS:
            return _Refusing()
        return server()

    async def _sweep(self) -> None:
        """Close what asks nothing: idle connections, and halves of requests."""
        while self._runner is not None and self._runner.server is not None:
            now_s = self._clock.monotonic()
            here = set(self._runner.server.connections)
            self._seen = {c: self._seen.get(c, now_s) for c in here}
            for connection, since_s in self._seen.items():
                if now_s - since_s > IDLE_S:
                    connection.force_close()
                    if connection.transport is not None:
                        connection.transport.abort()
            await asyncio.sleep(2.0)

    # --- what is let in -----------------------------------------------------------

    async def _guard(
        self, request: web.Request, handler: Handler
    ) -> web.StreamResponse:
        """Let in what names us, and no page of another; no cookie is ever looked at."""
        self._seen[request.protocol] = self._clock.monotonic()
        if request.host.lower() not in self.names:
            return _refusal(421, "This name is not in `hosts` of [page].")
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc.lower() not in self.names:
            return _refusal(403, "Another page may not ask.")
        try:
            response = await handler(request)
        except web.HTTPException as error:
            return _refusal(error.status, error.reason)
        except (ConnectionError, TimeoutError):
            raise
        except Exception as bug:
            self._say(
                f"The page had an internal error ({type(bug).__name__}: {bug})"[:200]
            )
            return _refusal(500, "A bug here.")
        if not response.prepared:
            response.headers.update(HEADERS)
        return response

    def _device(self, request: web.Request) -> str | None:
        kind, _, token = request.headers.get("Authorization", "").partition(" ")
        if kind != "Bearer" or not 16 <= len(token) <= 200:
            return None
        return self._devices.who(token)

    def _may_read(self, device: str | None) -> bool:
        settings = self._settings
        return settings.is_local or settings.open_to_read or device is not None

    async def _file(self, request: web.Request) -> web.Response:
        body, kind = self._files[request.path]
        return web.Response(body=body, content_type=kind, charset="utf-8")

    async def _heard(self, request: web.Request) -> web.Response:
        return await self._press(request, self._answer)

    async def _marked(self, request: web.Request) -> web.Response:
        return await self._press(request, self._mark)

    async def _press(self, request: web.Request, pass_on: Answer) -> web.Response:
        if not self._settings.may_answer:
            return _told(403, NOT_ALLOWED)
        if request.headers.get("Origin") is None:
            return _told(403, "A reply may come only from the page.")
        device = self._device(request)
        if device is None:
            return _told(401, NOT_PAIRED)
        if request.content_type != "application/json":
            return _told(415, "A reply is JSON.")
        try:
            async with asyncio.timeout(WRITE_S):
                body = json.loads(await request.read())
        except (ValueError, RecursionError, TimeoutError):
            return _told(400, "Not passed on: no JSON.")
        try:
            ok, text = await pass_on(body, device)
        except RefusedPressError as error:
            return _told(409, str(error))
        return _told(200 if ok else 504, text)

    # --- what is sent ---------------------------------------------------------------

    async def _events(self, request: web.Request) -> web.StreamResponse:
        """Push views, until the reader goes."""
        device = self._device(request)
        if not self._may_read(device):
            return _told(401, NOT_PAIRED)
        who = request.remote or ""
        is_full = self._streams.total() >= MOST_STREAMS
        if is_full or self._streams[who] >= MOST_STREAMS_EACH:
            return _told(503, "Too many pages are open.")
        self._streams[who] += 1
        try:
            return await self._stream(request, device)
        finally:
            self._streams[who] -= 1
            if self._streams[who] <= 0:
                del self._streams[who]

    async def _stream(
        self, request: web.Request, device: str | None
    ) -> web.StreamResponse:
        headers = {**HEADERS, "Content-Type": "text/event-stream; charset=utf-8"}
        response = web.StreamResponse(headers=headers)
        await response.prepare(request)
        wanted = request.query.get("cabin", "")[:40]
        past_due_s = rows_due_s = float("-inf")
        while True:
            now_s = self._clock.monotonic()
            self._seen[request.protocol] = now_s
            version = self._version
            name = self._chosen(wanted, now_s)
            view = self._view(name, now_s, device)
            if now_s >= rows_due_s:
                rows_due_s = now_s + ROWS_EVERY_S
                view["rows"] = self._shown_rows(now_s)
            if now_s >= past_due_s:
                past_due_s = now_s + PAST_EVERY_S
                view["past"] = self._board.past(name, now_s)
            data = f"data: {dumps(view)}\n\n".encode("utf-8", "replace")
            try:
                async with asyncio.timeout(WRITE_S):
                    await response.write(data)
            except (TimeoutError, ConnectionError, RuntimeError):
                if request.transport is not None:
                    request.transport.abort()
                return response
            await self._wait(version)

    async def _wait(self, version: int) -> None:
        """Wait for a change, a second at most, and a moment at least."""
        await asyncio.sleep(LEAST_S)
        try:
            async with asyncio.timeout(EVERY_S - LEAST_S), self._changed:
                await self._changed.wait_for(lambda: self._version != version)
        except TimeoutError:
            return

    def _chosen(self, wanted: str, now_s: float) -> str:
        """Return the cabin that is shown: the one asked for, or the only one."""
        if wanted:
            return wanted
        rows = self._shown_rows(now_s)
        return rows[0]["cabin"] if len(rows) == 1 else ""

    def _shown_rows(self, now_s: float) -> list[dict[str, Any]]:
        """Return the list, made at most once a second for all pages."""
        at_s, rows = self._rows
        if now_s - at_s >= EVERY_S:
            rows = self._board.rows(now_s)[:MOST_ROWS]
            self._rows = (now_s, rows)
        return rows

    def _view(self, name: str, now_s: float, device: str | None) -> dict[str, Any]:
        return {
            "as_of_ms": round(now_s * 1000.0),
            "at": self._clock.wall().timestamp(),
            "view": self._board.view(name, now_s) if name else None,
            "device": device,
            "may_answer": self._settings.may_answer and device is not None,
            "phone_number": self._settings.phone_number,
        }


class _Refusing(asyncio.Protocol):
    """Hangs up: there are too many connections."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        cast("asyncio.Transport", transport).abort()


def _refusal(status: int, text: str) -> web.Response:
    return web.Response(status=status, text=text, headers=HEADERS)


def _told(status: int, text: str) -> web.Response:
    return web.json_response(
        {"ok": status == 200, "text": text}, status=status, headers=HEADERS
    )
