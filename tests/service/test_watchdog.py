"""The watchdog is fed for completed steps and a live sound loop, and else it bites."""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.service.watchdog import Notifier, Watchdog, watchdog_period_s


class Systemd:
    """The other end of the notify socket."""

    def __init__(self, address: str) -> None:
        self.sock = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self.sock.bind(address)
        self.sock.setblocking(False)

    def heard(self) -> list[str]:
        out = []
        while True:
            try:
                out.append(self.sock.recv(4096).decode())
            except BlockingIOError:
                return out


@pytest.fixture(params=["file", "abstract"])
def asked(
    request: pytest.FixtureRequest, tmp_path: Path
) -> Iterator[tuple[Systemd, Notifier]]:
    path = str(tmp_path / "notify")
    if request.param == "abstract":
        name = f"cabinvigil-test-{tmp_path.name}"
        systemd, word = Systemd("\0" + name), "@" + name
    else:
        systemd, word = Systemd(path), path
    yield systemd, Notifier({"NOTIFY_SOCKET": word})
    systemd.sock.close()


def test_the_words_are_those_of_sd_notify(asked: tuple[Systemd, Notifier]) -> None:
    """sd_notify(3), from memory: one datagram, lines of NAME=value."""
    systemd, notifier = asked
    assert notifier.is_asked
    notifier.ready("watching\n4 parts")
    notifier.status("o2 20.5 %")
    notifier.feed()
    notifier.reloading(12.5)
    notifier.stopping()
    assert systemd.heard() == [
        "READY=1\nSTATUS=watching 4 parts",
        "STATUS=o2 20.5 %",
        "WATCHDOG=1",
        "RELOADING=1\nMONOTONIC_USEC=12500000",
        "STOPPING=1",
    ]


@pytest.mark.parametrize("name", ["", "/no/such/socket", "/" + "x" * 300, "@" + "\0x"])
def test_without_systemd_nothing_happens(name: str) -> None:
    """A missing or broken socket never hurts the watch."""
    notifier = Notifier({"NOTIFY_SOCKET": name} if name else {})
    notifier.ready("x")
    notifier.feed()
    assert notifier.is_asked is bool(name)


@pytest.mark.parametrize(
    ("environ", "period_s"),
    [
        ({"WATCHDOG_USEC": "15000000"}, 5.0),
        ({"WATCHDOG_USEC": "15000000", "WATCHDOG_PID": "7"}, 5.0),
        ({"WATCHDOG_USEC": "15000000", "WATCHDOG_PID": "8"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
        ({"WATCHDOG_USEC": "9" * 400}, 1200.0),
        ({"WATCHDOG_USEC": "9" * 5000}, None),
        ({"WATCHDOG_USEC": "-1"}, None),
        ({"WATCHDOG_USEC": "nan"}, None),
        ({}, None),
    ],
)
def test_the_period_is_a_third_of_what_the_unit_allows(
    environ: dict[str, str], period_s: float | None
) -> None:
    assert watchdog_period_s(environ, 7) == period_s


class Fed(Notifier):
    def __init__(self) -> None:
        super().__init__({})
        self.count = 0

    def feed(self) -> None:
        self.count += 1


def test_fed_within_the_period_while_steps_are_completed() -> None:
    """15 s of WatchdogSec, a step a second: fed every two or three seconds."""
    fed, gaps, last = Fed(), [], 0.0
    dog = Watchdog(fed, 5.0, lambda: 1e9)
    dog.begin(-1e9, 1.0)
    for second in range(600):
        before = fed.count
        dog.stepped(float(second))
        if fed.count > before:
            gaps.append(second - last)
            last = second
    assert max(gaps) <= 5.0
    assert fed.count <= 300


def test_not_fed_once_steps_stop() -> None:
    """The loop that looks may live: without a completed step it is not fed."""
    fed = Fed()
    dog = Watchdog(fed, 5.0, None)
    dog.begin(-1e9, 1.0)
    assert not dog.look(0.0), "never before the first step"
    dog.stepped(10.0)
    for tenth in range(100, 1_000):
        dog.look(tenth / 10)
    assert fed.count == 3, "at 10.0, 12.5 and 15.0: within tick and slack"
    assert dog.why_not(17.0) == "no step has been completed"


def test_a_long_tick_is_bridged_by_looking() -> None:
    """A tick of 60 s and a watchdog of 15 s: the looks between feed it."""
    fed, last, gaps = Fed(), 0.0, []
    dog = Watchdog(fed, 5.0, None)
    dog.begin(-1e9, 60.0)
    for second in range(300):
        before = fed.count
        dog.stepped(second) if second % 60 == 0 else dog.look(second)
        if fed.count > before:
            gaps.append(second - last)
            last = second
    assert max(gaps) <= 5.0


def test_not_fed_once_the_sound_loop_stands_still() -> None:
    """Steps go on, and nobody would hear an alarm: better restarted than deaf."""
    fed = Fed()
    dog = Watchdog(fed, 5.0, lambda: 20.0)
    dog.begin(-1e9, 1.0)
    for second in range(60):
        dog.stepped(float(second))
    assert dog.why_not(60.0) == "the sound loop has stopped"
    before = fed.count
    for second in range(60, 120):
        dog.stepped(float(second))
    assert fed.count == before
    assert before >= 5


def test_without_a_watchdog_it_only_tells() -> None:
    fed = Fed()
    dog = Watchdog(fed, None, None)
    dog.begin(-1e9, 1.0)
    dog.stepped(0.0)
    assert dog.look(1.0)
    assert fed.count == 0


@pytest.mark.parametrize("tick_s", [0.5, 1.0, 5.0, 10.0, 15.0, 30.0, 60.0])
@pytest.mark.parametrize("before_s", [1.0, 60.0])
def test_no_pace_starves_it_from_the_first_second_on(
    tick_s: float, before_s: float
) -> None:
    """At the start, and at a reload in the middle of an hour, from another pace."""
    fed = Fed()
    dog = Watchdog(fed, 5.0, None)
    dog.begin(1000.0, before_s)
    last_s, worst_s, stepped_s = 1000.0, 0.0, 1000.0
    for tenth in range(10_000, 30_000):
        now_s, before = tenth / 10, fed.count
        pace_s = before_s if now_s < 2000.0 else tick_s
        if now_s == 2000.0:
            dog.begin(now_s, tick_s)
        if now_s - stepped_s >= pace_s:
            stepped_s = now_s
            dog.stepped(now_s)
        if tenth % 50 == 0:
            dog.look(now_s)
        if fed.count > before:
            worst_s, last_s = max(worst_s, now_s - last_s), now_s
    assert worst_s <= 7.5, "half of what the unit allows"
