"""Calls a command as `cli.main` does, in this process."""

import argparse
import io
from typing import Any

from cabinvigil.daemon import cli


def call(
    command: Any, *words: object, err: io.StringIO | None = None, **more: Any
) -> tuple[int, str, str]:
    """Call a command; return its exit code, and what it printed on each stream.

    Args:
        command: its module.
        words: of the call, the command's own left out.
        err: takes the errors; a terminal of the test's own, perhaps.
        more: what only tests hand to the command.
    """
    parser = argparse.ArgumentParser()
    command.add_arguments(parser)
    args = parser.parse_intermixed_args([str(word) for word in words])
    out, err = io.StringIO(), err or io.StringIO()
    code = cli.exit_code_of(lambda: command.run(args, out, err, **more), err)
    return code, out.getvalue(), err.getvalue()
