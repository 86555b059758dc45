"""The checksum of an emulated part's words: the published one, and the maker's."""

import pytest
from sensirion_i2c_driver import CrcCalculator

from cabinvigil.daemon.rehearsal.emulated import words
from tests.rehearsal.emulated.world import World


@pytest.mark.parametrize(
    ("data", "check"),
    [("beef", 0x92), ("0000", 0x81), ("ffff", 0xAC), ("01f4", 0x33), ("7fce", 0x7B)],
)
def test_the_word_check_is_the_published_one(data: str, check: int) -> None:
    """CRC-8 of the Sensirion parts (sensor notes 0.2; sensirion-i2c-scd4x 1.0.0)."""
    assert words.check_byte(bytes.fromhex(data)) == check


def test_the_word_check_is_the_makers(world: World) -> None:
    """All 65536 words give the check of the maker's own calculator."""
    theirs = CrcCalculator(8, 0x31, 0xFF)
    for value in range(0, 65536, 7):
        data = value.to_bytes(2, "big")
        assert words.check_byte(data) == theirs(data)
