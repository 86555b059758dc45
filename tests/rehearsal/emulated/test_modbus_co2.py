"""The emulated Modbus module: another's driver, its registers, what it refuses."""

from dataclasses import replace
from typing import Any

import pytest
from minimalmodbus import _calculate_crc

from cabinvigil.daemon.rehearsal.emulated.modbus_co2 import (
    EmulatedModbusCo2,
    check_bytes,
)
from tests.rehearsal.emulated.world import World


def _spelled(text: str) -> bytes:
    body = bytes.fromhex(text)
    return body + check_bytes(body)


def _ppm(part: EmulatedModbusCo2) -> int:
    answer = part.receive(_spelled("fe0400000004"))
    return int.from_bytes(answer[9:11], "big")


@pytest.mark.parametrize(
    "frame",
    ["fe0400000004e5c6", "fe03001f0001a1c3", "fe06001f0000ac03", "fe0600017c066cc7"],
)
def test_the_check_is_the_published_one(frame: str) -> None:
    """Of frames that public drivers send; and that of minimalmodbus."""
    data = bytes.fromhex(frame)
    assert check_bytes(data[:-2]) == data[-2:] == _calculate_crc(data[:-2])


def test_another_driver_reads_it(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """senseair-s8 asks for the one register, and takes what comes."""
    theirs = pytest.importorskip("senseair_s8.senseair_s8")
    part = world.make(EmulatedModbusCo2)

    class Line:
        """Its serial port: what is written is answered at once."""

        def __init__(self, *_: Any, **__: Any) -> None:
            self._answer = b""

        def flushInput(self) -> None:  # noqa: N802  # its name
            self._answer = b""

        def write(self, data: bytes) -> None:
            self._answer = part.receive(data)

        def read(self, size: int) -> bytes:
            return self._answer[:size]

    monkeypatch.setattr(theirs.serial, "Serial", Line)
    monkeypatch.setattr(theirs.time, "sleep", world.pass_)
    found = theirs.SenseairS8().co2()
    assert found == pytest.approx(1523, abs=30 + 0.05 * 1523 + 3 * 4)


def test_its_period_is_kept_through_a_loss_of_power(world: World) -> None:
    """As delivered 180 hours; a setting is echoed."""
    part = world.make(EmulatedModbusCo2)
    ask = _spelled("fe03001f0001")
    assert part.receive(ask) == _spelled("fe030200b4")
    off = _spelled("fe06001f0000")
    assert part.receive(off) == off
    part.power_up()
    assert part.receive(ask) == _spelled("fe03020000")
    assert part.due_s() is None


@pytest.mark.parametrize(
    ("question", "answer"),
    [
        ("fe0400000005", "fe8402"),
        ("fe0400000000", "fe8402"),
        ("fe03001f0002", "fe8302"),
        ("fe0300020001", "fe8302"),
        ("fe0600020000", "fe8602"),
        ("fe1000000001", "fe9001"),
    ],
)
def test_it_refuses_what_it_has_not(world: World, question: str, answer: str) -> None:
    """Reason 1 is the function, 2 the register."""
    part = world.make(EmulatedModbusCo2)
    assert part.receive(_spelled(question)) == _spelled(answer)


def test_it_finds_a_question_behind_anything(world: World) -> None:
    """In pieces, behind junk and a wrong check; another unit's is not its."""
    part = world.make(EmulatedModbusCo2)
    ask = _spelled("fe0400030001")
    assert part.receive(ask[:5]) == b""
    assert len(part.receive(ask[5:])) == 7
    assert len(part.receive(b"\xff\x01\xfe" + ask)) == 7
    assert part.receive(ask[:-1] + b"\0") == b""
    assert len(part.receive(ask)) == 7
    assert part.receive(_spelled("010400030001")) == b""


def test_it_ends_at_its_range_and_says_so(world: World) -> None:
    """By bit 5 of its status; other bits stand for what has failed."""
    world.air = replace(world.air, co2_ppm=30000.0)
    part = world.make(EmulatedModbusCo2, full_scale_ppm=2000.0)
    part.fails = 1
    assert part.send()[3:11] == bytes.fromhex("0021 0000 0000 07d0")


def test_the_background_is_taken_for_400(world: World) -> None:
    """The other special words do nothing; the first register says that it is done."""
    world.air = replace(world.air, co2_ppm=700.0)
    part = world.make(EmulatedModbusCo2)
    part.receive(_spelled("fe0600000000"))
    part.receive(_spelled("fe0600011234"))
    assert _ppm(part) == pytest.approx(700, abs=90)
    part.receive(_spelled("fe0600017c06"))
    assert _ppm(part) == pytest.approx(400, abs=20)
    assert part.receive(_spelled("fe0300000001")) == _spelled("fe03020020")


def test_it_reads_low_in_thin_air(world: World) -> None:
    """1.6 % a kPa: at 813.25 hPa it shows 68 % of what it shows at the sea."""
    part = world.make(EmulatedModbusCo2)
    world.air = replace(world.air, co2_ppm=5000.0)
    world.pass_(600.0)
    _ppm(part)
    world.pass_(600.0)
    high = _ppm(part)
    world.air = replace(world.air, pressure_hpa=world.air.pressure_hpa - 200.0)
    before = 1.0 + 0.0016 * (world.air.pressure_hpa + 200.0 - 1013.25)
    assert _ppm(part) / high == pytest.approx(1.0 - 0.32 / before, abs=0.01)
