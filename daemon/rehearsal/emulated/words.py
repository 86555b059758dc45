"""The check-summed words of the Sensirion parts, from the part's side."""

from collections.abc import Iterable

_POLYNOMIAL = 0x31
_START = 0xFF


def _remainder(byte: int) -> int:
    for _ in range(8):
        byte = (byte << 1) ^ _POLYNOMIAL if byte & 0x80 else byte << 1
    return byte & 0xFF


_TABLE = bytes(_remainder(byte) for byte in range(256))


def check_byte(data: bytes) -> int:
    """Return the CRC-8 of the bytes: 0x31, start 0xFF, `be ef` -> 92 (sensors.md 0)."""
    crc = _START
    for byte in data:
        crc = _TABLE[crc ^ byte]
    return crc


def with_checks(words: Iterable[int]) -> bytes:
    """Format words of 16 bits, most significant byte first, each with its check."""
    answer = bytearray()
    for word in words:
        two = word.to_bytes(2, "big")
        answer += two
        answer.append(check_byte(two))
    return bytes(answer)


def checked_words(data: bytes) -> list[int] | None:
    """Read words with their checks; None where one is wrong or cut short."""
    if len(data) % 3:
        return None
    words = []
    for at in range(0, len(data), 3):
        two, check = data[at : at + 2], data[at + 2]
        if check_byte(two) != check:
            return None
        words.append(int.from_bytes(two, "big"))
    return words
