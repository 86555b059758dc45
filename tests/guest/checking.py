"""The list of checks, and how each is told: one line, with its length."""

import subprocess
import time
from collections.abc import Callable
from typing import Any

Check = Callable[[Any], str]
CHECKS: list[tuple[str, Check]] = []


class CheckError(Exception):
    """A check is not well; the message says what was found."""


def until(is_so: Callable[[], Any], within_s: float, what: str) -> tuple[Any, float]:
    """Wait until something is so; give it, and the seconds that it took.

    Raises:
        CheckError: it did not come in time.
    """
    began_s = time.perf_counter()
    while not (found := is_so()):
        if time.perf_counter() - began_s > within_s:
            raise CheckError(f"did not come within {within_s:g} s: {what}")
        time.sleep(0.05)
    return found, time.perf_counter() - began_s


def check(sentence: str) -> Callable[[Check], Check]:
    """Put a check into the list, in the files' order.

    It takes the pins, and gives what was found; it raises where that is not well.
    """

    def put(made: Check) -> Check:
        CHECKS.append((sentence, made))
        return made

    return put


def expect(is_so: object, found: object) -> None:
    """Fail with what was found.

    Raises:
        CheckError: it is not so.
    """
    if not is_so:
        raise CheckError(str(found))


def say(text: str) -> None:
    """Print a line on the console, at once."""
    print(text, flush=True)


def judge(number: int, pins: Any) -> bool:
    """Run one check and print its line; where it fails, what the journal says too."""
    sentence, made = CHECKS[number]
    began_s = time.perf_counter()
    try:
        found, mark = made(pins), "ok  "
    except Exception as error:
        found, mark = f"{type(error).__name__}: {error}", "FAIL"
    took_s = time.perf_counter() - began_s
    say(f"{mark} {took_s:6.1f} s  {sentence}: {' '.join(found.split())}")
    if mark == "FAIL":
        for what in (("-u", "cabinvigil", "-u", "parts"), ("-k",)):
            asked = ["journalctl", "--no-pager", "-o", "short-monotonic", "-n", "15"]
            said = subprocess.run([*asked, *what], capture_output=True, text=True)
            for line in said.stdout.splitlines():
                say(f"  {line}")
    return mark != "FAIL"
