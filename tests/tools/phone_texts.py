"""What the phones are sent in the nine named nights, kept as text.

`python -m tests.tools.phone_texts` plays the nights and writes `tests/data/texts/`;
`tests/nights/test_named_nights.py` holds the nights to them.  Read them aloud, as if
woken, before a change of them is committed.
"""

import tempfile
from datetime import timedelta
from pathlib import Path

from cabinvigil.daemon.core.model import Alert
from cabinvigil.daemon.core.notification import SECOND
from cabinvigil.daemon.rehearsal.nights import NIGHTS
from tests.nights.played import HOURS, Played, play_night

FOLDER = Path(__file__).parents[1] / "data" / "texts"


def file_of(night: str) -> Path:
    """Return where a night's texts stand."""
    return FOLDER / f"{night}.txt"


def texts(night: Played) -> str:
    """Write the night's texts, a line each: since when, to whom, how grave, what."""
    lines = []
    for at_s, one in night.commands:
        if isinstance(one, Alert):
            phone = "second phone" if one.escalation == SECOND else "phone"
            at = timedelta(seconds=round(at_s))
            lines.append(f"{at}  {phone:<12}  {one.priority.word}: {one.text}")
    return "".join(f"{line}\n" for line in lines)


def main() -> None:
    """Draw them anew."""
    FOLDER.mkdir(exist_ok=True)
    for name in sorted(NIGHTS):
        with tempfile.TemporaryDirectory() as folder:
            night = play_night(name, Path(folder), hours=HOURS[name])
        file_of(name).write_text(texts(night), encoding="utf-8")


if __name__ == "__main__":
    main()
