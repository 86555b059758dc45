"""From a message to its addresses, in virtual time: who is told, and of what."""

import asyncio
from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import cast

import pytest
from attrs import evolve

from cabinvigil.daemon.clock import VirtualClock
from cabinvigil.daemon.phone.dispatch import Dispatch
from cabinvigil.daemon.phone.keeper import Keeper
from cabinvigil.daemon.phone.lanes import Lane
from cabinvigil.daemon.phone.rings import PhoneMessage
from cabinvigil.daemon.phone.settings import Recipient
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from tests.phone.inline_sender import InlineSender
from tests.phone.texts import ENGLISH

START = datetime(2026, 1, 16, 21, 0, tzinfo=UTC)
ANA = Recipient(name="Ana", address="json://localhost/a")
BEN = Recipient(name="Ben", address="json://localhost/b", quiet="20:00-07:00")


class NoDisk:
    """A queue that keeps nothing, at once."""

    def __init__(self) -> None:
        self.known: set[str] = set()

    def note_new(self, ident: str) -> bool:
        is_new = ident not in self.known
        self.known.add(ident)
        return is_new

    def begun(self, *_: object) -> "asyncio.Future[None]":
        noted: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        noted.set_result(None)
        return noted

    def add(self, *_: object, **__: object) -> None:
        pass

    delivered = failed = hand_on = add


@dataclass
class Scene:
    """Addresses that take everything, or do not."""

    recipients: Sequence[Recipient]
    fails: set[str] = field(default_factory=set)
    told: list[tuple[str, str]] = field(default_factory=list)

    def play(self, script: Callable[[Dispatch], Awaitable[None]]) -> None:
        """Run a script beside the lanes."""

        async def whole() -> None:
            clock = VirtualClock(asyncio.get_running_loop(), START)
            keeper = cast("Keeper", NoDisk())
            dispatch = Dispatch(
                self.recipients, keeper, clock, lambda _text: None, ENGLISH
            )
            tasks = []
            for one in self.recipients:
                lane = Lane(
                    *(one, self.push(one.name), clock, dispatch, ENGLISH),
                    local=lambda wall: wall,
                    make_sender=InlineSender,
                )
                dispatch.lanes[one.name] = lane
                tasks.append(asyncio.ensure_future(lane.run()))
            await script(dispatch)
            for task in tasks:
                task.cancel()

        run_virtual(whole())

    def push(self, name: str) -> Callable[[str, str, int], str]:
        def push(_title: str, text: str, _urgency: int) -> str:
            if name in self.fails:
                return "500"
            self.told.append((name, text))
            return ""

        return push


def ring(text: str, urgency: int, cabin: str = "lapwing") -> PhoneMessage:
    return PhoneMessage(f"{cabin} {text}", cabin, "Lapwing", text, urgency, 3600.0)


def test_who_slept_through_all_of_it_is_not_told_that_it_is_over() -> None:
    """Ben's quiet hours outlast the note, then not its end."""
    scene = Scene([ANA, BEN])

    async def script(dispatch: Dispatch) -> None:
        dispatch.send([ring("stopped", 2)])
        await asyncio.sleep(timedelta(hours=9, minutes=45).total_seconds())
        dispatch.send([ring("back", 1)])
        await asyncio.sleep(timedelta(hours=1).total_seconds())
        dispatch.send([ring("stopped again", 2)])
        await asyncio.sleep(60.0)
        dispatch.send([ring("back again", 1)])
        await asyncio.sleep(60.0)

    scene.play(script)
    assert [text for name, text in scene.told if name == "Ben"] == [
        *("stopped again", "back again"),
    ]
    assert [text for name, text in scene.told if name == "Ana"] == [
        *("stopped", "back", "stopped again", "back again"),
    ]


def test_who_was_told_once_is_told_that_it_is_over() -> None:
    """A later text that came too late does not undo the first."""
    scene = Scene([ANA])

    async def script(dispatch: Dispatch) -> None:
        dispatch.send([ring("silent", 5)])
        await asyncio.sleep(60.0)
        scene.fails.add("Ana")
        dispatch.send([ring("still silent", 5)])
        await asyncio.sleep(4000.0)
        scene.fails.clear()
        dispatch.send([ring("back", 1)])
        await asyncio.sleep(120.0)

    scene.play(script)
    assert ("Ana", "still silent") not in scene.told
    assert ("Ana", "back") in scene.told


def test_a_danger_goes_on_to_the_cabins_own_addresses_first() -> None:
    other = evolve(BEN, cabins=("plover",))
    own = Recipient(name="Cy", address="json://localhost/c", cabins=("lapwing",))
    own = evolve(own, from_="high", second=True)
    scene = Scene([ANA, other, own], fails={"Ana"})

    async def script(dispatch: Dispatch) -> None:
        dispatch.send([ring("Wake up.", 4)])
        await asyncio.sleep(60.0)

    scene.play(script)
    assert scene.told == [("Cy", "Wake up.")]


def test_what_quiet_hours_outlasted_is_given_to_nobody_else() -> None:
    """An hour old, as if it were of now: the sleeper chose not to be told of it."""
    scene = Scene([BEN, evolve(ANA, second=True)])

    async def script(dispatch: Dispatch) -> None:
        dispatch.send([replace(ring("Wake up.", 4), is_second=False)])
        await asyncio.sleep(2 * 3600.0)

    scene.play(script)
    assert scene.told == []


def test_invented_cabins_fill_no_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    """What was told of the oldest is forgotten; their end is then told to all."""
    monkeypatch.setattr("cabinvigil.daemon.phone.dispatch.MOST_TOLD", 10)
    scene = Scene([ANA])

    async def script(dispatch: Dispatch) -> None:
        for number in range(50):
            dispatch.send([ring("Wake up.", 4, f"cabin-{number}")])
        await asyncio.sleep(60.0)
        assert len(dispatch._told) == 10
        dispatch.send([ring("back", 1, "cabin-0")])
        await asyncio.sleep(60.0)

    scene.play(script)
    assert scene.told[-1] == ("Ana", "back")
