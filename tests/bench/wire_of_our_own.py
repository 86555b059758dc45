"""A serial line whose other end the benchmark holds in its hand."""

import os
import tty
from pathlib import Path


class OwnPort:
    """A pty under a name; bytes go out when they are put."""

    def __init__(self, link: Path) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        link.symlink_to(os.ttyname(self._slave))
        self.path = str(link)

    def put(self, data: bytes) -> None:
        os.write(self._master, data)

    def close(self) -> None:
        os.close(self._slave)
        os.close(self._master)


def co_frame(ppm: float) -> bytes:
    """An upload frame of the CO module (sensors sheet, section 12)."""
    body = bytes((0x04, 0x03, 0x01, *divmod(round(ppm * 10), 256), *divmod(5000, 256)))
    return b"\xff" + body + bytes((-sum(body) & 0xFF,))
