"""Checksums that the parts use, each as a plain function of its bytes."""


def crc8_word(data: bytes) -> int:
    """Return the CRC-8 that Sensirion parts put behind each 16-bit word.

    Polynomial 31 hex, start ff, not reflected, no final exclusive-or (SCD4x data
    sheet v1.3, section 3.11; known in catalogues as CRC-8/NRSC-5).
    """
    crc = 0xFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1) ^ 0x31 if crc & 0x80 else crc << 1
            crc &= 0xFF
    return crc


def crc8_wire(data: bytes) -> int:
    """Return the CRC-8 of the 1-wire bus (CRC-8/MAXIM-DOW).

    Polynomial 31 hex, reflected, start 00: nine zero bytes pass, so a caller needs a
    second look at a byte that is never zero.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


def crc16_modbus(data: bytes) -> bytes:
    """Return the CRC-16 of Modbus frames, as they carry it: low byte first.

    Polynomial 8005 hex, reflected, start ffff (known in catalogues as CRC-16/MODBUS).
    """
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0xA001 if crc & 1 else crc >> 1
    return crc.to_bytes(2, "little")


def complement8(data: bytes) -> int:
    """Return the byte that makes the sum of `data` and itself 0 (modulo 256)."""
    return -sum(data) & 0xFF


def sum16(data: bytes) -> int:
    """Return the sum of the bytes, modulo 65 536."""
    return sum(data) & 0xFFFF
