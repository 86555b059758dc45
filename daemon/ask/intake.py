"""Taking connections in, one by one, and no more than there is room for.

Not asyncio's own server, which takes a hundred at a time, and writes a traceback for
each that finds the process without descriptors.
"""

import asyncio
import socket
from collections.abc import Callable, Coroutine
from typing import Any

from cabinvigil.daemon.ask.parse import LARGEST

OPEN_AT_MOST = 32
"""Connections, with those that are told that there are too many: four times `CALLERS`,
and far from a process's 1,024 descriptors (our choice).  Others wait in the kernel."""
BACKLOG = 100
PAUSE_S = 1.0
"""Where the kernel gives no connection, it is asked again after this."""


async def take_in(
    listener: socket.socket,
    calls: asyncio.TaskGroup,
    call: Callable[[socket.socket], Coroutine[Any, Any, None]],
    on_full: Callable[[str], None],
) -> None:
    """Take connections in until cancelled.

    Args:
        listener: listens, and does not block.
        calls: the group in which each is heard.
        call: hears one connection, and closes it.
        on_full: told why taking in pauses, each time it does.
    """
    loop = asyncio.get_running_loop()
    open_calls: set[asyncio.Task[None]] = set()
    while True:
        if len(open_calls) >= OPEN_AT_MOST:
            on_full("too many connections at once")
            await asyncio.wait(open_calls, return_when=asyncio.FIRST_COMPLETED)
        try:
            sock, _ = await loop.sock_accept(listener)
        except OSError as error:
            on_full(f"no connection can be taken ({error.strerror})")
            await asyncio.sleep(PAUSE_S)
            continue
        task = calls.create_task(call(sock), name="ask-caller")
        open_calls.add(task)
        task.add_done_callback(open_calls.discard)


async def streams(
    sock: socket.socket,
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """Return the two streams of a connection that was taken in."""
    loop = asyncio.get_running_loop()
    reader = asyncio.StreamReader(limit=LARGEST + 1, loop=loop)
    protocol = asyncio.StreamReaderProtocol(reader, loop=loop)
    transport, _ = await loop.connect_accepted_socket(lambda: protocol, sock)
    return reader, asyncio.StreamWriter(transport, protocol, reader, loop)
