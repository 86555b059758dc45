"""The contact's sampler: what rings is heard whatever is wrong; silence is not rest."""

import asyncio
import errno
import time
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import SourceFault
from cabinvigil.daemon.rehearsal.emulated.ads1115 import converter
from cabinvigil.daemon.rehearsal.virtual import run_virtual
from cabinvigil.daemon.sampling.bus_errors import (
    BusError,
    DeviceMissingError,
    NoPermissionError,
    PortBusyError,
    PortGoneError,
)
from cabinvigil.daemon.sampling.line_sampler import (
    WIRE_EVERY_S,
    LevelFile,
    LineSampler,
    line_lost,
)
from tests.emulation import Cabin

REST_V, ALARM_V, CUT_V, WET_V = 2.72, 0.295, 3.3, 1.5


@dataclass
class Wire:
    """A line and its wire, by hand."""

    now_s: float = 0.0
    level: int = 0
    volts: float = REST_V
    error: OSError | None = None
    opened: int = 0
    closed: int = 0
    taken: list[str] = field(default_factory=list)

    def open(self) -> "Wire":
        self.opened += 1
        if self.error is not None:
            raise self.error
        return self

    def levels(self) -> bytes:
        if self.error is not None:
            raise self.error
        return b"%d =500\n" % self.level

    def close(self) -> None:
        self.closed += 1


@dataclass
class Heard:
    """What a course gave: (moment, value), and (moment, kind of fault or '')."""

    values: list[tuple[float, float]]
    told: list[tuple[float, str]]
    texts: list[str]
    wire: Wire

    def between(self, from_s: float, to_s: float) -> set[float]:
        return {value for at_s, value in self.values if from_s <= at_s < to_s}


Course = dict[float, dict[str, object]]


def heard(
    folder: Path, course: Course, for_s: float, *, has_converter: bool = True
) -> Heard:
    """Sample a contact through changes of its line and wire, by moment."""
    wire = Wire()

    async def play() -> Cabin:
        cabin = Cabin(folder)
        cabin.smbus.attach(
            0x48, converter({"0": lambda: wire.volts}, 1, cabin.loop.time)
        )
        bus = cabin.bus if has_converter else None
        level = LevelFile("GPIO5", wire.open, blocking=False)
        sampler = LineSampler(cabin.placing("door", "contact"), level, bus, 0x48)
        begin_s = cabin.loop.time()
        async with asyncio.TaskGroup() as group:
            task = group.create_task(sampler.run())
            for at_s, changes in sorted(course.items()):
                await asyncio.sleep(begin_s + at_s - cabin.loop.time())
                for name, value in changes.items():
                    setattr(wire, name, value)
            await asyncio.sleep(begin_s + for_s - cabin.loop.time())
            task.cancel()
        return cabin

    cabin = run_virtual(play())
    texts = [e.text for _, e in cabin.events if isinstance(e, SourceFault)]
    values = [(at_s, one.value) for at_s, one in cabin.of("door", "contact")]
    return Heard(values, cabin.told("door"), texts, wire)


GONE = OSError(errno.ENODEV, "the GPIO line is gone; plug it in again")


def test_it_is_read_twice_a_second_and_closes_within_that(tmp_path: Path) -> None:
    found = heard(tmp_path, {10.1: {"level": 1, "volts": ALARM_V}}, 12.0)
    first_s = next(at_s for at_s, value in found.values if value)
    assert 10.1 < first_s <= 10.6
    gaps = {round(b[0] - a[0], 3) for a, b in pairwise(found.values)}
    assert gaps == {0.5}
    assert found.told == []


def test_a_line_that_is_lost_is_told_at_once_and_nothing_is_delivered(
    tmp_path: Path,
) -> None:
    found = heard(tmp_path, {10.1: {"error": GONE}, 20.1: {"error": None}}, 25.0)
    assert found.between(10.1, 20.1) == set()
    (told_s, kind), (back_s, end) = found.told
    assert (kind, end) == ("port-missing", "")
    assert told_s <= 10.6
    assert 20.1 <= back_s <= 21.2
    assert found.texts == ["door (contact): the GPIO line is gone; plug it in again"]
    assert found.wire.closed == 2  # as it was lost, and at the end


def test_a_contact_that_fails_is_looked_at_each_second(tmp_path: Path) -> None:
    """Else what rings meanwhile would wait for half a minute."""
    found = heard(
        tmp_path, {1.1: {"error": GONE}, 301.0: {"error": None, "level": 1}}, 310.0
    )
    first_s = next(at_s for at_s, value in found.values if value)
    assert 301.0 <= first_s <= 302.1
    assert found.wire.opened <= 310


@pytest.mark.parametrize(
    ("volts", "kind", "words"),
    [
        (
            CUT_V,
            "wire-open",
            "door (contact) cannot be heard (the wire is open): look for",
        ),
        (
            0.0,
            "wire-short",
            "door (contact) cannot be heard (the wire is shorted): look w",
        ),
        (WET_V, "out-of-range", "neither as at rest nor as in alarm"),
    ],
)
def test_a_wire_that_is_not_whole_is_told_and_its_rest_is_not_believed(
    volts: float, kind: str, words: str, tmp_path: Path
) -> None:
    course: Course = {20.1: {"volts": volts}, 60.1: {"volts": REST_V}}
    found = heard(tmp_path, course, 80.0)
    (told_s, told), (back_s, end) = found.told
    assert (told, end) == (kind, "")
    assert 20.1 + 2 * WIRE_EVERY_S <= told_s <= 20.1 + 4 * WIRE_EVERY_S
    assert back_s <= 60.1 + 2 * WIRE_EVERY_S
    assert words in found.texts[0]
    assert found.between(told_s, back_s) == set()
    assert found.between(back_s, 80.0) == {0.0}


def test_one_bad_look_at_the_wire_is_no_fault(tmp_path: Path) -> None:
    course: Course = {20.1: {"volts": CUT_V}, 20.2 + WIRE_EVERY_S: {"volts": REST_V}}
    found = heard(tmp_path, course, 40.0)
    assert found.told == []
    assert found.between(20.0, 40.0) == {0.0}


def test_a_rest_is_not_believed_from_the_first_bad_look_on(tmp_path: Path) -> None:
    """A wire that burns through while it rings shows a line at rest."""
    course: Course = {
        20.1: {"level": 1, "volts": ALARM_V},
        21.3: {"level": 0, "volts": CUT_V},
    }
    found = heard(tmp_path, course, 60.0)
    rests = [at_s for at_s, value in found.values if at_s > 21.3 and value == 0.0]
    assert not rests or rests[-1] - 21.3 <= WIRE_EVERY_S + 1.0, rests


def test_what_rings_is_heard_though_its_wire_is_told_as_shorted(tmp_path: Path) -> None:
    """A short on a normally open contact looks closed: it rings, and is told too."""
    found = heard(tmp_path, {20.1: {"volts": 0.0, "level": 1}}, 60.0)
    assert [kind for _, kind in found.told] == ["wire-short"]
    assert found.between(20.7, 60.0) == {1.0}
    after_s = [at_s for at_s, _ in found.values if at_s > 40.0]
    assert all(b - a <= 1.2 for a, b in pairwise(after_s))


def test_a_wire_in_alarm_rings_though_the_line_is_dead(tmp_path: Path) -> None:
    """Either of the two that sees it is enough."""
    course: Course = {20.1: {"error": GONE, "volts": ALARM_V}}
    found = heard(tmp_path, course, 60.0)
    assert found.between(20.1 + 2 * WIRE_EVERY_S, 60.0) == {1.0}
    assert [kind for _, kind in found.told] == ["port-missing"]
    stuck = heard(tmp_path, {20.1: {"volts": ALARM_V}}, 60.0)
    assert stuck.between(20.1 + 2 * WIRE_EVERY_S, 60.0) == {1.0}


def test_a_wire_that_rang_and_is_cut_rings_by_it_no_more(tmp_path: Path) -> None:
    """What the line tells counts on; the rules keep the last word that it gave."""
    course: Course = {20.1: {"volts": ALARM_V}, 30.1: {"volts": CUT_V}}
    found = heard(tmp_path, course, 60.0)
    assert found.between(45.0, 60.0) == set()
    assert [kind for _, kind in found.told] == ["wire-open"]


def test_without_a_converter_nothing_is_said_of_the_wire(tmp_path: Path) -> None:
    found = heard(tmp_path, {5.0: {"volts": CUT_V}}, 30.0, has_converter=False)
    assert found.told == []
    assert found.between(10.0, 30.0) == {0.0}


def test_a_bug_of_its_codec_is_told_as_any_parts(tmp_path: Path) -> None:
    """The watch of the wire ends with the contact's, and no group of errors is told."""

    async def play() -> None:
        cabin = Cabin(tmp_path)
        level = LevelFile("GPIO5", Wire().open, blocking=False)
        placing = cabin.placing("door", "contact")
        placing.codec.feed = None
        await LineSampler(placing, level, cabin.bus, 0x48).run()

    with pytest.raises(TypeError):
        run_virtual(play())


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (errno.EPERM, NoPermissionError),
        (errno.EACCES, NoPermissionError),
        (errno.ENOENT, DeviceMissingError),
        (errno.EBUSY, PortBusyError),
        (errno.ENODEV, PortGoneError),
        (errno.EIO, PortGoneError),
    ],
)
def test_each_loss_of_a_line_has_its_kind(number: int, kind: type[BusError]) -> None:
    named = line_lost(OSError(number, "why, and the remedy"))
    assert type(named) is kind
    assert (named.errno, str(named)) == (number, "why, and the remedy")
    assert str(line_lost(OSError("no number"))) == "no number"


def test_a_line_that_hangs_holds_nobody_up() -> None:
    """Off the loop, with a deadline: an expander's bus may hang."""

    class Hangs(Wire):
        def levels(self) -> bytes:
            time.sleep(0.4)
            return b"0 =1\n"

    async def play() -> None:
        level = LevelFile("GPIO5", Hangs().open)
        level._deadline_s = 0.05
        loop = asyncio.get_running_loop()
        begin_s = loop.time()
        with pytest.raises(BusError, match="reading GPIO5 does not come back"):
            await level.read()
        assert loop.time() - begin_s < 0.3
        level.close()
        level.close()

    asyncio.run(play())
