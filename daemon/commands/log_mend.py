"""`cabinvigil log mend`: what can be read of the log, written beside it."""

import argparse
from pathlib import Path
from typing import IO

from cabinvigil.daemon.log.find import NightError, nights
from cabinvigil.daemon.log.mend import FOLDER, MendError, mend
from cabinvigil.daemon.report.log_check import mended_json, mended_words
from cabinvigil.daemon.text.errors import ExitCode
from cabinvigil.daemon.text.json import json_line
from cabinvigil.daemon.text.terminal import told


def run(found: Path, args: argparse.Namespace, out: IO[str], err: IO[str]) -> int:
    """Mend a folder's files, or one; return the exit code.

    Raises:
        MendError: a new file would lie over another, or cannot be written.
        NightError: there is no line that can be read.
    """
    is_folder = found.is_dir()
    files = [one.path for one in nights(found)] if is_folder else [found]
    into = args.into or (found if is_folder else found.parent) / FOLDER
    _refuse_overwriting(files, into)
    surveys = [
        mend(path, into) for path in told(files, len(files), "repairing nights", err)
    ]
    if not any(one.lines for one in surveys):
        raise NightError(
            f"{found}: holds no line that can be read; nothing was written"
        )
    if args.json:
        print(json_line(mended_json(into, surveys)), file=out)
    else:
        out.writelines(f"{line}\n" for line in mended_words(into, surveys))
    return ExitCode.DONE


def _refuse_overwriting(files: list[Path], into: Path) -> None:
    """Refuse before anything is written.

    Raises:
        MendError: a file of the same name is there.
    """
    for path in files:
        if (into / path.name).exists():
            raise MendError(
                f"{into / path.name}: exists; name another folder with -o, or move it "
                "away"
            )
