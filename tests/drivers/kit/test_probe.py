"""Telling a part: by its checksums, or by a register."""

from cabinvigil.drivers.kit.probe import answers, register_reads
from cabinvigil.drivers.kit.steps import Transfer
from cabinvigil.drivers.kit.words import ask
from tests.wire import play

ASK = Transfer(b"\x36\x82", 3, 0.001)


def test_checksum_tells() -> None:
    """An answer with a right checksum is the part's; any other is not."""
    assert play(answers(ask(0x3682, 1, 0.001)), [(ASK, b"\xbe\xef\x92")])
    assert not play(answers(ask(0x3682, 1, 0.001)), [(ASK, b"\xbe\xef\x93")])


def test_register_tells() -> None:
    """A register must hold exactly the bytes."""
    line = Transfer(b"\xd0", 1)
    assert play(register_reads(0xD0, b"\x60"), [(line, b"\x60")])
    assert not play(register_reads(0xD0, b"\x60"), [(line, b"\x58")])
    assert not play(register_reads(0xD0, b"\x60"), [(line, b"")])
