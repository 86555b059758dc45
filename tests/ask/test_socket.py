"""The ask socket of this machine: who may, what is answered, what is turned away."""

import asyncio
import errno
import json
import os
import resource
import socket
import stat
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.ask import socket as asksocket
from cabinvigil.daemon.ask.callers import CALLERS
from cabinvigil.daemon.ask.intake import OPEN_AT_MOST
from cabinvigil.daemon.ask.parse import Ask
from cabinvigil.daemon.ask.socket import AskError, AskSocket, Reply, ask_watch
from cabinvigil.daemon.core.model import ActKind
from tests.outputs.hands import HandClock


class Watch:
    """The daemon's side: answers at once, or not at all."""

    def __init__(self, path: Path, group: str = "") -> None:
        self.path = path
        self.clock = HandClock()
        self.asks: list[Ask] = []
        self.refused: list[str] = []
        self.floods: list[bool] = []
        self.is_mute = False
        self.unanswered: asyncio.Queue[Reply] = asyncio.Queue()
        self.socket = AskSocket(
            path,
            group,
            self.clock,
            on_ask=self.on_ask,
            on_refused=self.refused.append,
            on_flood=self.floods.append,
        )

    def on_ask(self, ask: Ask, reply: Reply) -> None:
        self.asks.append(ask)
        if self.is_mute:
            self.unanswered.put_nowait(reply)
        else:
            reply({"ok": True, "o2_pct": 20.5})
            reply({"ok": False, "text": "a second answer is not sent"})


@asynccontextmanager
async def served(path: Path, group: str = "") -> AsyncIterator[Watch]:
    watch = Watch(path, group)
    ready = asyncio.Event()
    async with asyncio.TaskGroup() as tasks:
        task = tasks.create_task(watch.socket.serve(ready.set))
        await ready.wait()
        yield watch
        task.cancel()


async def ask(path: Path, **fields: Any) -> dict[str, Any]:
    return await asyncio.to_thread(ask_watch, path, fields)


async def raw(path: Path, data: bytes) -> list[bytes]:
    reader, writer = await asyncio.open_unix_connection(path, limit=1 << 20)
    writer.write(data)
    writer.write_eof()
    answers = (await reader.read()).splitlines()
    writer.close()
    await writer.wait_closed()
    return answers


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ask"


async def test_an_ask_reaches_the_core_and_is_answered(path: Path) -> None:
    async with served(path) as watch:
        assert await ask(path, ask="status", id="7") == {
            "answer": "status", "id": "7", "ok": True, "o2_pct": 20.5,
        }  # fmt: skip
        await ask(path, ask="out-of-service", alarm="cold")
        assert watch.asks[1].act is not None
        assert watch.asks[1].act.kind is ActKind.OUT_OF_SERVICE
        assert watch.asks[1].act.by == "socket"
    assert os.listdir(path.parent) == [], "nothing is left behind"


async def test_several_asks_on_one_connection(path: Path) -> None:
    async with served(path):
        answers = await raw(path, b'{"ask": "status"}\n{"ask": "test"}\n')
        assert [json.loads(a)["answer"] for a in answers] == ["status", "test"]


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"hello\n", "not a JSON object"),
        (b'{"ask": "run", "text": "rm"}\n', "must be one of"),
        (b"x" * 5_000 + b"\n", "too long"),
        (b"x" * 500_000, "too long"),
        (b"\xff\n", "not a JSON object"),
        (b'{"ask": "mark"', "not a JSON object"),
    ],
)
async def test_what_is_no_ask_is_turned_away_with_a_sentence(
    path: Path, data: bytes, word: str
) -> None:
    async with served(path) as watch:
        try:
            (answer,) = await raw(path, data)
        except (ConnectionError, ValueError):
            answer = b""  # it hung up on what it would not even read
        assert watch.asks == []
        if answer or word != "too long":
            assert word in answer.decode()
        assert len(watch.refused) == 1
        assert (await ask(path, ask="status"))["ok"], "and the next ask is served"


async def test_a_flood_on_the_socket_is_rationed(path: Path) -> None:
    async with served(path) as watch:
        answers = await raw(path, b'{"ask": "status"}\n' * 500)
        assert len(answers) == 500
        assert sum(json.loads(a)["ok"] for a in answers) == 10
        assert len(watch.asks) == 10
        assert len(watch.refused) == 1


ASK_AT_ONCE = """
import json, sys
from cabinvigil.daemon.ask.socket import ask_watch
from pathlib import Path
for line in sys.stdin:
    try:
        print(json.dumps(ask_watch(Path(sys.argv[1]), json.loads(line))), flush=True)
    except OSError as error:
        print(json.dumps({"ok": False, "text": str(error)}), flush=True)
"""


@asynccontextmanager
async def another_caller(path: Path) -> AsyncIterator[Any]:
    """Another process, which asks what it is told to."""
    process = await asyncio.create_subprocess_exec(
        sys.executable, "-c", ASK_AT_ONCE, str(path),
        stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
    )  # fmt: skip
    assert process.stdin is not None
    assert process.stdout is not None
    stdin, stdout = process.stdin, process.stdout

    async def asks(**fields: Any) -> dict[str, Any]:
        stdin.write(json.dumps(fields).encode() + b"\n")
        answer: dict[str, Any] = json.loads(await stdout.readline())
        return answer

    try:
        yield asks
    finally:
        stdin.close()
        await process.wait()


async def test_a_caller_that_floods_costs_its_own_turns_alone(path: Path) -> None:
    """Another process answers, marks and looks; the fault ends with the flood."""
    async with served(path) as watch, another_caller(path) as asks:
        assert (await asks(ask="status"))["ok"]
        for line in (b'{"ask": "status"}', b'{"ask": "acknowledge"}', b"junk"):
            answers = await raw(path, (line + b"\n") * 300)
            assert not json.loads(answers[-1])["ok"]
        assert watch.floods == [True]
        assert (await asks(ask="acknowledge"))["ok"]
        assert (await asks(ask="status"))["ok"]
        assert len(watch.refused) <= 3
        watch.clock.now_s += 30.0
        watch.socket._look_at_flood()
        assert watch.floods == [True, False]


async def test_a_thousand_asks_at_once_leave_the_loop_a_turn_after_each(
    path: Path,
) -> None:
    """They were answered in one step, a tenth of a second: the tick waited."""
    turns = 0

    async def turn() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    async with served(path) as watch, asyncio.TaskGroup() as group:
        seen: list[int] = []
        admit = watch.socket._limits.admit
        note = lambda *args: (seen.append(turns), admit(*args))[1]  # noqa: E731
        watch.socket._limits.admit = note  # type: ignore[method-assign]
        turning = group.create_task(turn())
        await raw(path, b'{"ask": "status"}\n' * 1000)
        turning.cancel()
    assert len(seen) == 1000
    assert len(set(seen)) == 1000


async def test_whoever_looks_all_the_time_may_still_answer(path: Path) -> None:
    async with served(path):
        await raw(path, b'{"ask": "status"}\n' * 50)
        assert not (await ask(path, ask="status"))["ok"]
        assert (await ask(path, ask="acknowledge"))["ok"]


async def test_idle_connections_hold_nobody_up(path: Path) -> None:
    """Three times as many as are held: the next caller takes the place of one."""
    async with served(path):
        held = [await asyncio.open_unix_connection(path) for _ in range(24)]
        for _ in range(5):
            assert (await ask(path, ask="status"))["ok"]
        ended = [reader.at_eof() or reader.exception() for reader, _ in held]
        assert any(ended)
        for _, writer in held:
            writer.close()
            with suppress(ConnectionError):
                await writer.wait_closed()


async def test_x8_a_flood_of_connections_leaves_the_process_its_descriptors(
    path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """They filled all, and the journal with a traceback each; told once, and over."""
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    async with served(path) as watch:
        flood = []
        used = len(os.listdir("/proc/self/fd"))
        resource.setrlimit(resource.RLIMIT_NOFILE, (used + 60, hard))
        try:
            while True:
                sock = socket.socket(socket.AF_UNIX)
                sock.setblocking(False)
                flood.append(sock)
                with suppress(BlockingIOError):
                    sock.connect(str(path))
        except OSError as error:
            assert error.errno == errno.EMFILE  # noqa: PT017  # the flood's own end
        for _ in range(200):
            await asyncio.sleep(0)
        assert len([line for line in watch.refused if "no connection" in line]) == 1
        for sock in flood:
            sock.close()
        resource.setrlimit(resource.RLIMIT_NOFILE, (soft, hard))
        assert (await ask(path, ask="status"))["ok"]
    assert caplog.records == []


async def test_x8_so_many_connections_are_open_and_no_more(path: Path) -> None:
    """Each caller that is answered holds one; the rest wait in the kernel."""
    async with served(path) as watch:
        watch.is_mute = True
        before = len(os.listdir("/proc/self/fd"))
        socks = [socket.socket(socket.AF_UNIX) for _ in range(80)]
        for sock in socks:
            sock.connect(str(path))
            sock.send(b'{"ask": "status"}\n')
        for _ in range(300):
            await asyncio.sleep(0)
        ours = len(os.listdir("/proc/self/fd")) - before - len(socks)
        assert ours <= OPEN_AT_MOST
        assert [line for line in watch.refused if "too many connections" in line]
        for sock in socks:
            sock.close()
        while not watch.unanswered.empty():
            watch.unanswered.get_nowait()({"ok": True})


async def test_where_all_are_being_answered_no_more_are_taken(path: Path) -> None:
    """None of them is ended for a new one."""
    async with served(path) as watch:
        watch.is_mute = True
        waiting = [
            asyncio.ensure_future(raw(path, b'{"ask": "status"}\n'))
            for _ in range(CALLERS)
        ]
        replies = [await watch.unanswered.get() for _ in waiting]
        assert "too many callers" in (await ask(path, ask="status"))["text"]
        for reply in replies:
            reply({"ok": True})
        for (answer,) in await asyncio.gather(*waiting):
            assert json.loads(answer)["ok"]


async def test_a_core_that_does_not_answer_is_said(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asksocket, "ANSWER_S", 0.05)
    async with served(path) as watch:
        watch.is_mute = True
        got = await ask(path, ask="status")
        assert (got["ok"], got["answer"]) == (False, "status")
        assert "in time" in got["text"]


async def test_a_caller_that_says_nothing_is_let_go(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(asksocket, "IDLE_S", 0.05)
    async with served(path):
        reader, writer = await asyncio.open_unix_connection(path)
        assert await reader.read() == b""
        writer.close()
        await writer.wait_closed()


async def test_only_the_group_may_ask(path: Path) -> None:
    """The socket's mode is 0660, and its group the configured one."""
    import grp

    group = grp.getgrgid(os.getgid()).gr_name
    async with served(path, group):
        found = os.stat(path)
        assert stat.S_IMODE(found.st_mode) == 0o660
        assert found.st_gid == os.getgid()
    async with served(path):
        assert stat.S_IMODE(os.stat(path).st_mode) == 0o600


async def test_a_missing_group_names_the_remedy(path: Path) -> None:
    watch = Watch(path, "no-such-group")
    with pytest.raises(AskError, match="groupadd"):
        await watch.socket.serve()


async def test_a_folder_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(AskError, match="does its folder exist"):
        await Watch(tmp_path / "no" / "ask").socket.serve()


async def test_a_socket_left_by_a_kill_is_taken_over_and_a_live_one_is_not(
    path: Path,
) -> None:
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    async with served(path):
        assert (await ask(path, ask="status"))["ok"]
        with pytest.raises(AskError, match=r"^Another monitor listens.*stop one"):
            await Watch(path).socket.serve()
        assert (await ask(path, ask="status"))["ok"]


def test_the_asker_is_told_what_to_do(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pytest.raises(
        AskError, match=r"^The monitor is not running.*systemctl status"
    ):
        ask_watch(path, {"ask": "status"})
    with socket.socket(socket.AF_UNIX) as dead:
        dead.bind(str(path))
    with pytest.raises(AskError, match="systemctl status"):
        ask_watch(path, {"ask": "status"})
    mute = tmp_path / "mute"
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(str(mute))
        listener.listen()
        with pytest.raises(AskError, match="did not respond"):
            ask_watch(mute, {"ask": "status"}, deadline_s=0.05)

    def deny(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(socket.socket, "connect", deny)
    with pytest.raises(AskError, match="join its group"):
        ask_watch(path, {"ask": "status"})


async def test_an_answer_that_is_none_is_said(path: Path) -> None:
    async def babble(r: asyncio.StreamReader, w: asyncio.StreamWriter) -> None:
        await r.readline()
        w.write(b"welcome\n")
        w.close()
        await w.wait_closed()

    server = await asyncio.start_unix_server(babble, path)
    async with server:
        with pytest.raises(AskError, match="is it the monitor"):
            await ask(path, ask="status")
