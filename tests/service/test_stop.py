"""The end of the real command: in time whatever hangs, pins low, a crash a crash."""

import asyncio
import signal
import socket
import time
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.ask.socket import AskError, ask_watch
from cabinvigil.daemon.log.reader import Logbook, LogLine
from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener
from tests.running import Air, Ports, config
from tests.service.life import CLOCK, Life

STOP_S = 8.0
"""What is promised; systemd kills at 10."""
LOW_S = 2.5
"""The pins come first: within one second on a machine that has nothing else to do."""
LINES = '[light]\nline = "GPIO22"\n'
BUS = (
    '[i2c.main]\ndevice = "/dev/i2c-1"\n[part.bunk-co2]\nkind = "scd4x"\nbus = "main"\n'
)
MQTT = '[mqtt]\nhost = "127.0.0.1"\nport = {port}\ntls = false\nkeepalive_s = 5\n'


async def until(is_so: Callable[[], Any], what: str, within_s: float = 30.0) -> Any:
    end_s = time.perf_counter() + within_s
    while not (found := is_so()):
        assert time.perf_counter() < end_s, f"never came: {what}"
        await asyncio.sleep(0.05)
    return found


def status(folder: Path) -> dict[str, Any]:
    """What the watch says of itself; nothing while it cannot be asked."""
    with suppress(AskError):
        answer = ask_watch(folder / "ask", {"ask": "status"})
        return answer if answer.get("ok") else {}
    return {}


async def asked(
    folder: Path, is_so: Callable[[dict[str, Any]], Any], what: str
) -> dict[str, Any]:
    """Ask once a second until the watch says so."""
    for _ in range(30):
        answer = await asyncio.to_thread(status, folder)
        if answer and is_so(answer):
            return answer
        await asyncio.sleep(1.0)
    raise AssertionError(f"never came: {what}")


def logged(folder: Path) -> list[LogLine]:
    paths = sorted((folder / "log").glob("night-*"))
    return [line for path in paths for line in Logbook(path)]


@asynccontextmanager
async def alive(
    folder: Path, more: str = "", air: Air | None = None, **environ: str
) -> AsyncIterator[Life]:
    """The command, on ptys; killed at the end where it still runs."""
    ports = Ports(folder, air or Air(), waits=False)
    life = Life(config(folder, LINES + more), folder, **environ)
    try:
        yield life
    finally:
        life.kill()
        ports.close()


async def stopped(life: Life) -> tuple[float, str]:
    """Tell it to stop; return how long it took, and what it said."""
    told_s = CLOCK.monotonic()
    life.process.send_signal(signal.SIGTERM)
    code = await asyncio.to_thread(life.process.wait, 30)
    took_s = CLOCK.monotonic() - told_s
    for line in ("GPIO17", "GPIO22"):
        levels = life.levels(line)
        if levels:
            assert levels[-1][1] == 0, f"{line} is left high"
            lit = [at_s for at_s, level in levels if level and at_s > told_s + LOW_S]
            assert lit == [], f"{line} was switched on during the stop"
    said = life.kill()
    assert code == 0, said
    return took_s, said


async def caller(path: Path, *, asks: bool) -> None:
    """Stay connected, silent or asking all the time."""
    reader, writer = await asyncio.open_unix_connection(path)
    try:
        while asks and await asyncio.sleep(0.02, True):
            writer.write(b'{"ask": "status"}\n')
            if not await reader.readline():
                break
        await asyncio.Event().wait()
    except ConnectionError:
        return
    finally:
        writer.transport.abort()


HANGS = {
    "nothing": (),
    "callers": (),
    "disk": ("hang-disk",),
    "broker": (),
    "part": (),
    "sounder's line": ("hang-set-GPIO17",),
    "sounder's proof": ("hang-proof-GPIO17",),
    "light's line": ("hang-set-GPIO22",),
    "the loop": ("hang-loop",),
    "all at once": (
        *("hang-disk", "hang-set-GPIO17", "hang-proof-GPIO22", "hang-loop"),
    ),
}
NAMED = {
    "disk": "log",
    "sounder's line": "sounder's line",
    "sounder's proof": "buzzer",
    "light's line": "light's line",
    "the loop": "the monitor's own loop",
}
"""What the journal says did not end."""


@pytest.mark.parametrize("what", HANGS)
async def test_it_stops_in_time_whatever_hangs_and_its_pins_are_low(
    tmp_path: Path, what: str
) -> None:
    """The sounder rings when it happens, so the pin is high half of the time."""
    air, more = Air(), ""
    everything = what == "all at once"
    async with AsyncExitStack() as stack:
        if what == "broker" or everything:
            server = stack.enter_context(socket.create_server(("127.0.0.1", 0)))
            more += MQTT.format(port=server.getsockname()[1])
        if what == "part" or everything:
            more += BUS
        life = await stack.enter_async_context(alive(tmp_path, more, air))
        await asked(tmp_path, lambda told: "co_ppm" in told["readings"], "readings")
        air.now = AirNow(co_ppm=400.0)
        await until(lambda: any(on for _, on in life.levels("GPIO17")), "the sounder")
        calls = []
        if what == "callers" or everything:
            calls = [
                asyncio.ensure_future(caller(tmp_path / "ask", asks=bool(number % 2)))
                for number in range(6)
            ]
            await asyncio.sleep(0.3)
        for knob in HANGS[what]:
            life.ask(knob)
        await asyncio.sleep(1.0)
        took_s, said = await stopped(life)
        for call in calls:
            call.cancel()
        await asyncio.gather(*calls, return_exceptions=True)
    assert took_s < STOP_S, said
    assert "Traceback" not in said
    assert NAMED.get(what, "") in said
    if what in ("nothing", "callers", "broker", "part"):
        assert logged(tmp_path)[-1].fields["reason"] == "stopped on request", said


@pytest.mark.broker
async def test_a_crash_is_a_crash_for_phone_log_and_exit_code(tmp_path: Path) -> None:
    """Nobody told it to stop: `lost`, never `stopped`; the reason is the last line."""
    port = free_port()
    with mosquitto(tmp_path / "broker", port=port), Listener(port) as phone:

        def presences() -> list[str]:
            return [one.text for one in phone.on("/lapwing/presence")]

        async with alive(tmp_path, MQTT.format(port=port)) as life:
            await until(lambda: presences()[-1:] == ["watching"], "the phone")
            life.ask("crash")
            code = await asyncio.to_thread(life.process.wait, 30)
            said = life.kill()
            await until(lambda: presences()[-1:] == ["lost"], "the Will")
        assert "stopped" not in presences()
    assert code == 1
    assert "ArithmeticError: the core" in said
    assert "Traceback" in said, "a bug keeps its traceback"
    last = logged(tmp_path)[-1]
    assert last.event == "stop"
    assert last.fields["reason"] == "crashed: ArithmeticError: the core"
    assert [level for _, level in life.levels("GPIO17")][-1:] == [0]
