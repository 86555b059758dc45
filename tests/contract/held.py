"""Holds what the whole suite's runs write, send and print to the written contract.

Every line that the log's renderer gives, every message for the broker, and every
output of a command with --json passes here, in whatever test it comes about.  What is
wrong is remembered and fails that test: raised on the spot, an output's thread would
take it for its own stumbling.
"""

import argparse
import functools
import importlib
import io
from collections.abc import Callable
from typing import IO, Any

from cabinvigil.daemon import cli
from cabinvigil.daemon.log.lines import Renderer
from cabinvigil.daemon.outputs.mqtt.messages import Publication
from tests.contract import written

wrong: list[str] = []
"""What broke the contract since it was last asked."""
seen: dict[str, int] = {"lines": 0, "messages": 0, "outputs": 0}


def taken() -> list[str]:
    """Give what broke the contract since last time, and forget it."""
    found = list(wrong)
    wrong.clear()
    return found


def heard(topic: str, payload: bytes) -> None:
    """Judge what came by a broker, from a watch in this process or another."""
    is_watchs = topic.startswith("cabinvigil/") and not topic.endswith("/ask")
    if payload and is_watchs:
        _note("messages", written.wrong_in_message(topic, payload))


def _note(kind: str, fault: str | None) -> None:
    seen[kind] += 1
    if fault is not None:
        wrong.append(fault)


class _Tee(io.TextIOBase):
    """Hands on what is printed, and keeps it."""

    def __init__(self, real: IO[str]) -> None:
        self._real = real
        self.kept: list[str] = []

    def write(self, text: str) -> int:
        self.kept.append(text)
        return self._real.write(text)

    def flush(self) -> None:
        self._real.flush()

    def isatty(self) -> bool:
        return self._real.isatty()


def _judged(word: str, run: Callable[..., int]) -> Callable[..., int]:
    @functools.wraps(run)
    def run_and_judge(
        args: argparse.Namespace, out: IO[str], err: IO[str], *rest: Any, **more: Any
    ) -> int:
        if not (getattr(args, "json", False) or getattr(args, "summary", False)):
            return run(args, out, err, *rest, **more)
        tee = _Tee(out)
        try:
            return run(args, tee, err, *rest, **more)
        finally:  # what was printed before an error counts too
            _note("outputs", written.wrong_in_output(word, "".join(tee.kept)))

    return run_and_judge


def install() -> None:
    """Put the judges where lines, messages and outputs come from."""
    render = Renderer.render

    @functools.wraps(render)
    def render_and_judge(self: Renderer, *args: Any, **more: Any) -> bytes:
        line = render(self, *args, **more)
        _note("lines", written.wrong_in_line(line))
        return line

    Renderer.render = render_and_judge  # type: ignore[method-assign]
    begin = Publication.__init__

    @functools.wraps(begin)
    def begin_and_judge(self: Publication, *args: Any, **more: Any) -> None:
        begin(self, *args, **more)
        _note("messages", written.wrong_in_message(self.topic, self.payload))

    Publication.__init__ = begin_and_judge  # type: ignore[method-assign]
    for word, (module, _) in cli.COMMANDS.items():
        command = importlib.import_module(f"cabinvigil.daemon.{module}")
        command.run = _judged(word, command.run)
