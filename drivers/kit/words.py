"""Commands and words of the Sensirion parts: 16 bits, high byte first, with CRC."""

from collections.abc import Generator

from cabinvigil.drivers.kit.crc import crc8_word
from cabinvigil.drivers.kit.steps import CrcError, LengthError, ShortError, Transfer

Ask = Generator[Transfer, bytes, tuple[int, ...]]


def command(code: int, *values: int) -> bytes:
    """Format a 16-bit command and the words that go with it, each word with its CRC."""
    return code.to_bytes(2, "big") + b"".join(with_crc(value) for value in values)


def with_crc(value: int) -> bytes:
    """Format one 16-bit word and its CRC."""
    word = value.to_bytes(2, "big")
    return word + bytes([crc8_word(word)])


def words(reply: bytes, count: int) -> tuple[int, ...]:
    """Read `count` words, each followed by its CRC.

    Raises:
        ShortError: fewer bytes came.
        LengthError: more bytes came.
        CrcError: a word's CRC does not fit; says so where the line looks dead.
    """
    wanted = 3 * count
    if len(reply) < wanted:
        raise ShortError(f"{len(reply)} bytes came where the reply has {wanted}")
    if len(reply) > wanted:
        raise LengthError(f"{len(reply)} bytes came where the reply has {wanted}")
    values = []
    for start in range(0, wanted, 3):
        word, crc = reply[start : start + 2], reply[start + 2]
        if crc8_word(word) != crc:
            raise CrcError(_crc_words(reply, start // 3 + 1, word, crc))
        values.append(int.from_bytes(word, "big"))
    return tuple(values)


def _crc_words(reply: bytes, number: int, word: bytes, crc: int) -> str:
    """Say what is wrong; all zero or all ff is a wire, not noise (sensors.md 14, 8)."""
    if not any(reply):
        return "only zero bytes come: the data line is held low"
    if all(byte == 0xFF for byte in reply):
        return "only ff bytes come: the data line is open"
    return (
        f"the checksum of word {number} is {crc:02x}, "
        f"its bytes {word.hex()} give {crc8_word(word):02x}"
    )


def ask(code: int, count: int, delay_s: float, *values: int) -> Ask:
    """Send a command, wait, and read its answer of `count` words."""
    reply = yield Transfer(command(code, *values), 3 * count, delay_s)
    return words(reply, count)
