"""The one place that uses rich: progress of long work, and a view that stays in place.

Both do without it: progress is then silent, and the view is written again below.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import IO, TypeVar

from cabinvigil.daemon.text.plain import plain

T = TypeVar("T")
Advance = Callable[[float], None]
"""Takes how much more has been done."""


class Bar:
    """Progress as it is shown; on no terminal, or without rich, nothing is."""

    def __init__(
        self,
        advance: Advance,
        hide: Callable[[], None] = lambda: None,
        show: Callable[[], None] = lambda: None,
    ) -> None:
        """Take what moves it, hides it and shows it again."""
        self._advance, self._hide, self._show = advance, hide, show

    def __call__(self, more: float) -> None:
        """Say that so much more has been done."""
        self._advance(more)

    @contextmanager
    def aside(self) -> Iterator[None]:
        """Put it aside while something is printed on the same terminal."""
        self._hide()
        try:
            yield
        finally:
            self._show()


def told(items: Iterable[T], count: int, words: str, err: IO[str]) -> Iterator[T]:
    """Go through items and show how far it is, on a terminal alone.

    Args:
        items: what is worked on.
        count: how many there are.
        words: what is done.
        err: where progress is shown; a file or a pipe gets nothing.
    """
    if count < 2 or not err.isatty():
        yield from items
        return
    try:
        from rich.console import Console
        from rich.progress import Progress
    except ImportError:
        yield from items
        return
    with Progress(console=Console(file=err), transient=True) as progress:
        yield from progress.track(items, total=count, description=words)


@contextmanager
def progress(total: float, words: str, err: IO[str]) -> Iterator[Bar]:
    """Show how far one long piece of work is, on a terminal alone.

    Args:
        total: of whatever is counted.
        words: what is done.
        err: where progress is shown; a file or a pipe gets nothing.

    Yields:
        What takes how much more has been done, and steps aside for what is printed.
    """
    if not err.isatty():
        yield Bar(unseen)
        return
    try:
        from rich.console import Console
        from rich.progress import Progress
    except ImportError:
        yield Bar(unseen)
        return
    with Progress(console=Console(file=err), transient=True) as shown:
        task = shown.add_task(words, total=total)
        yield Bar(lambda more: shown.advance(task, more), shown.stop, shown.start)


def unseen(_more: float) -> None:
    """Show nothing."""


UNSEEN = Bar(unseen)
"""Progress of what shows by itself how far it is."""


def stay(
    frames: Iterable[str], out: IO[str], rest: Callable[[], None], columns: int
) -> None:
    """Show frames in place, one after the other, until they end.

    Without rich, and on what cannot go back to its lines' beginning, each stands below
    the one before.

    Args:
        frames: each a few lines.
        out: where they are shown.
        rest: waits between two frames.
        columns: of the view.
    """
    try:
        from rich.console import Console
        from rich.live import Live
        from rich.text import Text
    except ImportError:
        _below(frames, out, rest)
        return
    terminal = getattr(out, "terminal", out)
    console = Console(file=terminal, width=columns, highlight=False)
    if not console.is_terminal or console.is_dumb_terminal:
        _below(frames, out, rest)  # rich would keep them all back until the last
        return
    with Live(console=console, auto_refresh=False, screen=console.is_terminal) as live:
        for frame in frames:
            shown = "\n".join(plain(line) for line in frame.split("\n"))
            live.update(Text(shown), refresh=True)
            rest()


def _below(frames: Iterable[str], out: IO[str], rest: Callable[[], None]) -> None:
    for frame in frames:
        out.write(frame + "\n")
        out.flush()
        rest()
