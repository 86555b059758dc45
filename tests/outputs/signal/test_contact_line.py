"""A contact's line, against a stand-in for the kernel and the real package."""

from types import SimpleNamespace

import pytest

from cabinvigil.daemon.clock import edge_clock_ns
from cabinvigil.daemon.outputs.signal.contact_line import (
    BUFFER,
    ContactLine,
    open_contact,
)
from cabinvigil.daemon.outputs.signal.gpio import LineError
from cabinvigil.drivers.contact import LONGEST, decode
from tests.outputs.signal.kernel import PIN, Kernel

MS = 1_000_000


class Hands:
    """The kernel's clock and its edges, by hand."""

    def __init__(self, kernel: Kernel) -> None:
        self.kernel = kernel
        self.now_ns = 1000 * MS
        kernel.levels[PIN] = 0

    def line(self) -> ContactLine:
        request = self.kernel.gpiod.request_lines(
            "/dev/gpiochip4", config={PIN: {}}, consumer="cabinvigil"
        )
        return ContactLine(PIN, request, self.kernel.gpiod, lambda: self.now_ns)

    def edge(self, level: int, after_ms: int) -> None:
        self.kernel.levels[PIN] = level
        stamp_ns = self.now_ns + after_ms * MS
        self.kernel.events.append(
            SimpleNamespace(event_type=level, timestamp_ns=stamp_ns)
        )

    def pass_(self, ms: int) -> None:
        self.now_ns += ms * MS


def test_it_tells_how_the_line_stood_since_it_was_last_asked(kernel: Kernel) -> None:
    hands = Hands(kernel)
    line = hands.line()
    hands.edge(1, 312)
    hands.edge(0, 480)
    hands.pass_(500)
    assert line.levels() == b"0 1@312 0@480 =500\n"
    hands.pass_(400)
    assert line.levels() == b"0 =400\n"


def test_a_level_whose_edge_was_lost_is_told_all_the_same(kernel: Kernel) -> None:
    """The kernel keeps some dozens; the level now is true whatever came before."""
    hands = Hands(kernel)
    line = hands.line()
    kernel.levels[PIN] = 1
    hands.pass_(500)
    assert line.levels() == b"0 1@500 =500\n"
    hands.edge(0, 10)
    kernel.levels[PIN] = 1
    hands.pass_(20)
    assert line.levels() == b"1 0@10 1@20 =20\n"


def test_stamps_from_outside_the_window_are_put_into_it(kernel: Kernel) -> None:
    """An edge may come between the look at the edges and the look at the clock."""
    hands = Hands(kernel)
    line = hands.line()
    hands.edge(1, -5)
    hands.edge(0, 900)
    hands.pass_(500)
    assert line.levels() == b"0 1@0 0@500 =500\n"


def test_a_flood_of_edges_ends_and_is_a_message_still(kernel: Kernel) -> None:
    hands = Hands(kernel)
    line = hands.line()
    for at_ms in range(2 * BUFFER):
        hands.edge(at_ms % 2, 2_000_000 + at_ms)
    hands.pass_(9_000_000)
    text = line.levels()
    assert len(text) < LONGEST
    assert len(decode(text)) >= BUFFER


@pytest.mark.parametrize(
    ("active_low", "pull", "bias"),
    [(True, "up", "up"), (False, "down", "down"), (True, "none", "disabled")],
)
def test_it_is_taken_as_an_input_with_both_edges(
    kernel: Kernel, active_low: bool, pull: str, bias: str
) -> None:
    line = open_contact(PIN, active_low=active_low, pull=pull)
    assert kernel.settings[PIN] == {
        "direction": "in",
        "edge_detection": "both",
        "bias": bias,
        "active_low": active_low,
    }
    line.close()
    assert kernel.released == [PIN]


@pytest.mark.parametrize(("call", "words"), [("get", "read"), ("wait", "monitored")])
def test_a_line_that_goes_says_so_with_its_remedy(
    kernel: Kernel, call: str, words: str
) -> None:
    line = open_contact(PIN, active_low=True, pull="up")
    kernel.refuses = {call: OSError(19, "No such device")}
    with pytest.raises(LineError, match=f"'{PIN}' cannot be {words}"):
        line.levels()
    kernel.refuses = {"release": OSError(19, "No such device")}
    line.close()


def test_a_line_that_nobody_has_cannot_be_taken(kernel: Kernel) -> None:
    with pytest.raises(LineError, match="gpioinfo"):
        open_contact("GPIO99", active_low=True, pull="up")


def test_the_kernel_stamps_edges_by_a_clock_that_only_goes_on() -> None:
    first = edge_clock_ns()
    assert 0 < first <= edge_clock_ns()


def test_the_real_package_has_what_is_used() -> None:
    gpiod = pytest.importorskip("gpiod", reason="the extra 'pi' is not installed")
    assert gpiod.line.Bias.DISABLED != gpiod.line.Bias.PULL_UP
    gpiod.LineSettings(
        direction=gpiod.line.Direction.INPUT,
        edge_detection=gpiod.line.Edge.BOTH,
        bias=gpiod.line.Bias.DISABLED,
        active_low=True,
    )
