"""Whether a monitor listens on a socket, or a killed one left it."""

import socket
from pathlib import Path

LONGEST_S = 1.0


def is_heard(path: Path) -> bool:
    """Return whether a process listens there.

    Raises:
        OSError: nobody can tell: it is not ours to ask, or it does not respond.
    """
    if not path.is_socket():
        return False
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        probe.settimeout(LONGEST_S)
        try:
            probe.connect(str(path))
        except (ConnectionRefusedError, FileNotFoundError):
            return False
    return True
