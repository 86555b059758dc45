"""The end of the ask socket: whoever is connected does not hold it up."""

import asyncio
import contextlib
import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.ask.test_socket import Watch, ask, raw, served

ASK = b'{"ask": "status"}\n'
SOON_S = 2.0
"""Idle callers were waited for 29.5 s on Python 3.12, busy ones for ever."""


async def _idle(path: Path) -> None:
    _, writer = await asyncio.open_unix_connection(path)
    try:
        await asyncio.Event().wait()
    finally:
        writer.close()


async def _asking(path: Path) -> None:
    """Ask again and again, as long as there is an answer."""
    reader, writer = await asyncio.open_unix_connection(path)
    try:
        while True:
            writer.write(ASK)
            if not await reader.readline():
                return
            await asyncio.sleep(0.01)
    except ConnectionError:
        return
    finally:
        writer.close()


async def _deaf(path: Path) -> None:
    """Ask and never read: the answers fill the kernel's buffers."""
    sock = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    sock.setblocking(False)
    loop = asyncio.get_running_loop()
    with sock:
        await loop.sock_connect(sock, str(path))
        with contextlib.suppress(ConnectionError):
            while True:
                await loop.sock_sendall(sock, ASK * 100)


CALLERS = {"idle": _idle, "asking": _asking, "unanswered": _asking, "deaf": _deaf}


@pytest.mark.parametrize("count", [1, 9])
@pytest.mark.parametrize("caller", ["idle", "asking", "unanswered", "deaf"])
async def test_a_caller_does_not_hold_up_the_end(
    tmp_path: Path, caller: str, count: int
) -> None:
    path = tmp_path / "ask"
    async with asyncio.TaskGroup() as tasks:
        async with served(path) as watch:
            watch.is_mute = caller == "unanswered"
            calls = [tasks.create_task(CALLERS[caller](path)) for _ in range(count)]
            await asyncio.sleep(0.2)
            ended = tasks.create_task(asyncio.sleep(SOON_S))
        assert not ended.done(), "the end waits for a caller"
        for call in (*calls, ended):
            call.cancel()
    assert os.listdir(tmp_path) == [], "nothing is left behind"


async def test_the_socket_is_born_closed_to_others_without_a_change_of_umask(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The mask is the whole process's: other threads make files at that moment."""

    def no_umask(mask: int) -> int:
        raise AssertionError(mask)

    monkeypatch.setattr(os, "umask", no_umask)
    async with served(tmp_path / "ask"):
        assert (tmp_path / "ask").stat().st_mode & 0o777 == 0o600


async def test_a_bug_met_by_one_caller_is_told_and_ends_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with served(tmp_path / "ask") as watch:
        with monkeypatch.context() as broken:
            broken.setattr(watch.socket, "_on_ask", None)
            assert await raw(tmp_path / "ask", ASK) == []
        assert "failed" in watch.refused[0]
        assert (await ask(tmp_path / "ask", ask="mark", text="x"))["ok"]


@pytest.mark.parametrize("is_made", [True, False])
async def test_given_up_while_it_is_being_made_it_leaves_nothing(
    tmp_path: Path, is_made: bool
) -> None:
    """A stop may come at that very moment, and the folder may answer after it."""
    watch, begun = Watch(tmp_path / "ask"), asyncio.Event()
    making: list[Callable[[], socket.socket]] = []

    async def off_loop(make: Callable[[], socket.socket]) -> socket.socket:
        making.append(make)
        if is_made:
            make()
        begun.set()
        return await asyncio.get_running_loop().create_future()

    watch.socket._off_loop = off_loop
    async with asyncio.TaskGroup() as tasks:
        serving = tasks.create_task(watch.socket.serve())
        await begun.wait()
        serving.cancel()
    if not is_made:
        assert making[0]().fileno() == -1
    assert os.listdir(tmp_path) == []
