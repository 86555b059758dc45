"""What puts a missing library in, on the Python that runs this."""

import sys


def put_in(pip: str, debian: str) -> str:
    """Return the command that installs it.

    Debian's own Python takes Debian's packages alone: pip is not there, or refuses.

    Args:
        pip: its names, and versions, on pip's command line.
        debian: the packages of Debian that hold it.
    """
    if sys.prefix == "/usr":
        return f"`sudo apt-get install {debian}`"
    return f"`{sys.prefix}/bin/pip install {pip}`"
