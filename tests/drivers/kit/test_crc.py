"""Checksums, against the check values of CRC catalogues and data sheets."""

import pytest

from cabinvigil.drivers.kit.crc import complement8, crc8_wire, crc8_word, sum16

NINE_DIGITS = b"123456789"
"""The text whose checksum every CRC catalogue prints."""


def test_word_crc_catalogue() -> None:
    """The word CRC is CRC-8/NRSC-5: check value f7 (catalogue, from memory)."""
    assert crc8_word(NINE_DIGITS) == 0xF7


def test_wire_crc_catalogue() -> None:
    """The wire CRC is CRC-8/MAXIM-DOW: check value a1 (catalogue, from memory)."""
    assert crc8_wire(NINE_DIGITS) == 0xA1


def test_word_crc_datasheet() -> None:
    """Sensirion's data sheets print `be ef` -> 92 as their example."""
    assert crc8_word(bytes.fromhex("beef")) == 0x92


@pytest.mark.parametrize("word", ["0000", "ffff"])
def test_dead_lines_never_pass_word_crc(word: str) -> None:
    """A line held low or left open repeats its byte, which is no right CRC."""
    assert crc8_word(bytes.fromhex(word)) != int(word[:2], 16)


def test_wire_crc_lets_zeros_pass() -> None:
    """Eight zero bytes have CRC 0: the trap that makes a second look necessary."""
    assert crc8_wire(bytes(8)) == 0


def test_complement_of_printed_frames() -> None:
    """`ff 01 86 00 ... 79` and `... 78 41 ... 46` are printed (ZE07-CO p. 5)."""
    assert complement8(bytes.fromhex("01860000000000")) == 0x79
    assert complement8(bytes.fromhex("01784100000000")) == 0x46


def test_sum_of_printed_frame() -> None:
    """`42 4d e2 00 00` sums to 0171, the 'read once' command of the dust module."""
    assert sum16(bytes.fromhex("424de20000")) == 0x0171
    assert sum16(b"\xff" * 258) == 258 * 255 - 65536
