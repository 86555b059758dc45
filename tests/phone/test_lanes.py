"""A lane and what becomes of its messages, in virtual time: retries, hours, ends."""

import asyncio
import itertools
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from threading import Thread, current_thread

import pytest

from cabinvigil.daemon.clock import VirtualClock
from cabinvigil.daemon.phone.lanes import HANGS_S, Lane, Sender, SenderThread
from cabinvigil.daemon.phone.push import NoWordError
from cabinvigil.daemon.phone.rings import DEAD_TRIES, PhoneMessage
from cabinvigil.daemon.phone.settings import Recipient
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from tests.phone.inline_sender import InlineSender
from tests.phone.texts import ENGLISH

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)


@dataclass
class Address:
    """A push server's stand-in, and the witness of what became of each message."""

    fails: str = ""
    titles: list[str] = field(default_factory=list)
    noted: list[str] = field(default_factory=list)
    notes: bool = True
    """False: the disk hangs."""
    pushed: list[tuple[float, str]] = field(default_factory=list)
    events: list[str] = field(default_factory=list)

    def __call__(self, title: str, text: str, _urgency: int, /) -> str:
        self.pushed.append((self.now(), text))
        self.titles.append(title)
        if self.fails == "no word":
            raise NoWordError(self.fails)
        return self.fails

    def begun(self, ring: PhoneMessage, _name: str) -> "asyncio.Future[None]":
        self.noted.append(ring.text)
        noted = asyncio.get_running_loop().create_future()
        if self.notes:
            noted.set_result(None)
        return noted

    def delivered(self, ring: PhoneMessage, _name: str) -> None:
        self.events.append(f"delivered {ring.text}")

    def failed(self, ring: PhoneMessage, _name: str, tries: int, reason: str) -> None:
        self.events.append(f"failed {ring.text} {tries} {reason}")

    def expired(self, ring: PhoneMessage, _name: str, _tries: int) -> None:
        self.events.append(f"expired {ring.text}")

    def is_dead(self, _name: str, reason: str) -> None:
        self.events.append(f"dead {reason}")

    def is_alive(self, _name: str) -> None:
        self.events.append("alive")

    def now(self) -> float:
        return 0.0


def message(text: str, urgency: int = 5, expires_s: float = 3600.0) -> PhoneMessage:
    return PhoneMessage(text, "lapwing", "Lapwing", text, urgency, expires_s)


def play(
    address: Address,
    recipient: Recipient,
    script: object,
    make_sender: Callable[[str], Sender] = InlineSender,
) -> None:
    """Run a lane in virtual time; `script` is given it and may sleep."""

    async def whole() -> None:
        loop = asyncio.get_running_loop()
        address.now = loop.time  # type: ignore[method-assign]
        lane = Lane(
            recipient, address, VirtualClock(loop, START), address, ENGLISH,
            local=lambda wall: wall, make_sender=make_sender,
        )  # fmt: skip
        task = asyncio.ensure_future(lane.run())
        await script(lane)  # type: ignore[operator]
        task.cancel()
        await asyncio.wait({task})

    run_virtual(whole())


ANA = Recipient(name="Ana", address="json://x/")


def test_the_gravest_goes_first() -> None:
    address = Address()

    async def script(lane: Lane) -> None:
        for urgency in (2, 5, 3, 4):
            lane.add(message(str(urgency), urgency), 3600.0)
        await asyncio.sleep(60.0)

    play(address, ANA, script)
    assert [text for _, text in address.pushed] == ["5", "4", "3", "2"]


def test_a_failure_is_tried_again_until_it_is_too_old() -> None:
    address = Address(fails="500")

    async def script(lane: Lane) -> None:
        lane.add(message("a"), 600.0)
        await asyncio.sleep(700.0)
        assert lane.waiting == 0

    play(address, ANA, script)
    gaps = [b[0] - a[0] for a, b in itertools.pairwise(address.pushed)]
    assert [round(gap) for gap in gaps[:6]] == [2, 4, 8, 16, 32, 60]
    assert address.events[-1] == "expired a"
    assert address.events.count("dead 500") == 1
    assert address.events.index("dead 500") == DEAD_TRIES
    assert address.pushed[-1][0] <= 600.0


@pytest.mark.parametrize(
    ("fails", "again"),
    [("500", "Lapwing"), ("no word", "Lapwing (perhaps sent already)")],
)
def test_what_may_have_been_told_says_so_when_it_comes_again(
    fails: str, again: str
) -> None:
    """The service that refused did not tell it; one that gave no word may have."""
    address = Address(fails=fails)

    async def script(lane: Lane) -> None:
        lane.add(message("a"), 600.0)
        await asyncio.sleep(1.0)
        address.fails = "500"
        await asyncio.sleep(3.0)
        address.fails = ""
        await asyncio.sleep(10.0)

    play(address, ANA, script)
    assert address.titles == ["Lapwing", again, again]


def test_a_push_is_noted_before_it_begins_and_waits_for_no_disk_that_hangs() -> None:
    """Each that is not kept as begun already; a second try of what was refused too."""
    address = Address(fails="500", notes=False)

    async def script(lane: Lane) -> None:
        lane.add(message("a"), 600.0, is_noted=True)
        await asyncio.sleep(0.01)
        assert (address.noted, len(address.pushed)) == ([], 1)
        address.fails = ""
        await asyncio.sleep(2.5)
        assert (address.noted, len(address.pushed)) == (["a"], 2)
        lane.add(message("b"), 600.0)
        await asyncio.sleep(0.1)
        assert (address.noted, len(address.pushed)) == (["a", "b"], 3)

    play(address, ANA, script)


def test_a_new_danger_is_tried_at_once_and_ends_the_waiting() -> None:
    address = Address(fails="500")

    async def script(lane: Lane) -> None:
        lane.add(message("old", 2), 3600.0)
        await asyncio.sleep(100.0)
        address.fails = ""
        lane.add(message("new", 5), 3600.0)
        await asyncio.sleep(1.0)

    play(address, ANA, script)
    assert [text for _, text in address.pushed[-2:]] == ["new", "old"]
    assert address.events[-3:] == ["delivered new", "alive", "delivered old"]


def test_quiet_hours_hold_back_all_but_what_is_high() -> None:
    address = Address()
    quiet = Recipient(name="Ana", address="json://x/", quiet="20:00-22:00")

    async def script(lane: Lane) -> None:
        lane.add(message("medium", 4), 86_400.0)
        await asyncio.sleep(600.0)
        assert address.pushed == []
        lane.add(message("high", 5), 3600.0)
        await asyncio.sleep(600.0)
        assert [text for _, text in address.pushed] == ["high"]
        await asyncio.sleep(3600.0)

    play(address, quiet, script)
    assert address.pushed[1][1] == "medium"
    assert 3600.0 <= address.pushed[1][0] <= 3660.0


def test_a_bug_in_a_push_ends_nothing() -> None:
    class Broken(Address):
        def __call__(self, _title: str, text: str, _urgency: int, /) -> str:
            super().__call__("", text, 5)
            if len(self.pushed) == 1:
                raise RuntimeError("a bug")
            return ""

    address = Broken()

    async def script(lane: Lane) -> None:
        lane.add(message("a"), 60.0)
        await asyncio.sleep(10.0)

    play(address, ANA, script)
    assert address.events == ["failed a 1 RuntimeError: a bug", "delivered a"]


@pytest.mark.parametrize("left_s", [0.0, -5.0])
def test_what_is_too_old_at_once_is_not_pushed(left_s: float) -> None:
    address = Address()

    async def script(lane: Lane) -> None:
        lane.add(message("a"), left_s)
        await asyncio.sleep(1.0)

    play(address, ANA, script)
    assert (address.pushed, address.events) == ([], ["expired a"])


def test_one_sender_pushes_all_and_one_that_hangs_is_left_for_another() -> None:
    address, made = Address(), list[InlineSender]()

    def make(name: str) -> InlineSender:
        made.append(InlineSender(name))
        return made[-1]

    async def script(lane: Lane) -> None:
        for text in "ab":
            lane.add(message(text), 3600.0)
            await asyncio.sleep(1.0)
        made[0].hangs = True
        lane.add(message("c"), 3600.0)
        await asyncio.sleep(HANGS_S + 60.0)

    play(address, ANA, script, make)
    assert [one.works for one in made] == [3, 1]
    assert all(one.is_left for one in made)
    told = f"failed c 1 no reply in {HANGS_S:g} s"
    assert address.events == ["delivered a", "delivered b", told, "delivered c"]


def test_the_threads_of_a_lane_are_kept_and_end_with_it() -> None:
    threads: set[Thread] = set()

    class Seen(Address):
        def __call__(self, title: str, text: str, urgency: int, /) -> str:
            threads.add(current_thread())
            return super().__call__(title, text, urgency)

        def delivered(self, ring: PhoneMessage, name: str) -> None:
            super().delivered(ring, name)
            if len(self.events) == 3:
                over.set()

    over = asyncio.Event()

    async def whole() -> None:
        address, loop = Seen(), asyncio.get_running_loop()
        lane = Lane(ANA, address, VirtualClock(loop, START), address, ENGLISH)
        task = asyncio.ensure_future(lane.run())
        for text in "abc":
            lane.add(message(text), 3600.0)
        await over.wait()
        task.cancel()
        await asyncio.wait({task})

    asyncio.run(whole())
    (thread,) = threads
    assert isinstance(thread, SenderThread)
    thread.join(10.0)
    assert not thread.is_alive()
