"""The button: which presses mean what, and that bounce and mattresses mean nothing."""

import time
from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.core.model import Act, ActKind, Sound, SourceFault, SourceOk
from cabinvigil.daemon.outputs import thread
from cabinvigil.daemon.outputs.signal import button
from cabinvigil.daemon.outputs.signal.button import Button, Press
from cabinvigil.daemon.outputs.signal.gpio import LineError
from tests.outputs.hands import HandClock, Told


def acts(*edges: tuple[bool, float], sounds: bool = False) -> list[str]:
    press, got = Press(), []
    for is_down, at_s in edges:
        press, meant = press.edge(is_down=is_down, at_s=at_s, sounds=sounds)
        got += [act.kind.value for act in meant]
    return got


@pytest.mark.parametrize(
    ("held_s", "wanted"),
    [
        (0.02, []),
        (0.05, ["acknowledge"]),
        (0.99, ["acknowledge"]),
        (1.0, ["mark"]),
        (9.9, ["mark"]),
        (10.0, []),
        (3_600.0, []),
    ],
)
def test_in_silence_a_short_press_acknowledges_and_a_long_one_marks(
    held_s: float, wanted: list[str]
) -> None:
    assert acts((True, 5.0), (False, 5.0 + held_s)) == wanted


@pytest.mark.parametrize(
    ("held_s", "wanted"),
    [
        (0.02, []),
        (0.05, ["acknowledge"]),
        (0.99, ["acknowledge"]),
        (1.0, ["mark", "acknowledge"]),
        (9.9, ["mark", "acknowledge"]),
        (10.0, ["mark", "acknowledge"]),
        (3_600.0, ["mark", "acknowledge"]),
    ],
)
def test_while_it_sounds_any_press_answers(held_s: float, wanted: list[str]) -> None:
    """A frightened hand holds on; a long press marks the moment too.

    The mark goes first: a press in silence would mean that somebody is up.
    """
    assert acts((True, 5.0), (False, 5.0 + held_s), sounds=True) == wanted


@pytest.mark.parametrize("held_s", [0.5, 3.0, 12.0])
def test_a_press_answers_what_sounded_when_it_began(held_s: float) -> None:
    """Not what begins while something leans on the button."""
    press, _ = Press().edge(is_down=True, at_s=5.0, sounds=True)
    _, meant = press.edge(is_down=False, at_s=5.0 + held_s, sounds=True)
    assert meant[-1] == Act(ActKind.ACKNOWLEDGE, by="button", age_s=held_s)


def test_a_press_that_does_not_end_is_taken_once() -> None:
    """It answers at ten seconds, and neither again nor when it is let go."""
    press, _ = Press().edge(is_down=True, at_s=5.0, sounds=True)
    press, meant = press.leant_on(10.0, sounds=True)
    assert [act.kind.value for act in meant] == ["mark", "acknowledge"]
    assert meant[-1].age_s == 10.0
    press, meant = press.leant_on(11.0, sounds=True)
    assert meant == ()
    press, meant = press.edge(is_down=False, at_s=40.0, sounds=True)
    assert meant == ()
    press, _ = press.edge(is_down=True, at_s=50.0, sounds=True)
    press, meant = press.edge(is_down=False, at_s=50.2, sounds=True)
    assert [act.kind.value for act in meant] == ["acknowledge"]


def test_what_leans_on_it_in_silence_never_answers_what_sounds_later() -> None:
    """A stuck contact, found before the danger."""
    press, _ = Press().edge(is_down=True, at_s=5.0, sounds=False)
    press, meant = press.leant_on(10.0, sounds=False)
    assert meant == ()
    press, meant = press.leant_on(60.0, sounds=True)
    assert meant == ()
    _, meant = press.edge(is_down=False, at_s=80.0, sounds=True)
    assert meant == ()


def test_contact_bounce_makes_one_press_of_one() -> None:
    """Contacts close and open a few times within milliseconds, at both ends."""
    bouncing = [
        (True, 0.0),
        (False, 0.002),
        (True, 0.004),
        (False, 0.006),
        (True, 0.01),
    ]
    end = [(False, 0.5), (True, 0.502), (False, 0.504), (True, 0.506), (False, 0.51)]
    assert acts(*bouncing, *end) == ["acknowledge"]
    assert acts(*bouncing, *end, (True, 1.0), (False, 1.2)) == ["acknowledge"] * 2


def test_a_lost_edge_does_not_lose_the_next_press() -> None:
    assert acts((False, 1.0), (True, 2.0), (True, 2.5), (False, 2.6)) == ["acknowledge"]


@settings(max_examples=100)
@given(
    st.lists(st.tuples(st.booleans(), st.floats(0.0, 20.0), st.booleans()), max_size=30)
)
def test_any_edges_give_only_acknowledgements_and_marks(
    steps: list[tuple[bool, float, bool]],
) -> None:
    """Noise can quiet or mark, as a hand could, and nothing worse."""
    at_s, press = 0.0, Press()
    for is_down, after_s, sounds in steps:
        at_s += after_s
        press, meant = press.edge(is_down=is_down, at_s=at_s, sounds=sounds)
        for act in meant:
            assert act.kind in {ActKind.ACKNOWLEDGE, ActKind.MARK}
            assert act.by == "button"
            assert act.age_s <= at_s + 0.001


class Scripted:
    """An edge line that plays a script of waits, each edges or an error."""

    def __init__(self, script: list[object], clock: HandClock) -> None:
        self.script, self.clock = script, clock
        self.closed = 0
        self.button: Button

    def wait(self, for_s: float) -> Sequence[tuple[bool, float]]:
        if not self.script:
            time.sleep(0.002)
            return ()
        step = self.script.pop(0)
        if isinstance(step, BaseException):
            raise step
        if isinstance(step, Sound):
            self.button.handle(step, self.clock.stamp())
            return ()
        self.clock.now_s += 6.0
        return step  # type: ignore[return-value]

    def close(self) -> None:
        self.closed += 1


def run(
    script: list[object],
    monkeypatch: pytest.MonkeyPatch,
    *,
    refusals: Sequence[Exception] = (),
    order: list[object] | None = None,
) -> tuple[list[Act], Told, Scripted]:
    """Run the thread until the script is used up; the first tries are refused."""
    monkeypatch.setattr(button, "RETRY_S", 0.01)
    clock, got, told = HandClock(), [], Told()
    order = [] if order is None else order

    def on_act(act: Act) -> None:
        got.append(act)
        order.append(act)

    def report(event: SourceFault | SourceOk) -> None:
        told(event)
        order.append(event)

    line = Scripted(script, clock)
    waiting = list(refusals)

    def opener() -> Scripted:
        if waiting:
            raise waiting.pop(0)
        return line

    one = line.button = Button(opener, on_act, report, clock)  # type: ignore[arg-type]
    one.start()
    until = time.perf_counter() + 10.0
    while script and time.perf_counter() < until:
        time.sleep(0.002)
    time.sleep(0.02)
    one.stop(5.0)
    return got, told, line


def test_presses_reach_the_core(monkeypatch: pytest.MonkeyPatch) -> None:
    got, told, line = run([[(True, 1.0)], [(False, 1.2)]], monkeypatch)
    assert got == [Act(ActKind.ACKNOWLEDGE, by="button", age_s=0.2)]
    assert told == []
    assert line.closed == 1


def test_a_button_that_is_leant_on_is_told_and_its_end_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    got, told, _ = run([[(True, 1.0)], (), (), [(False, 20.0)]], monkeypatch)
    assert told.kinds() == ["stuck", "ok"]
    assert got == []


@pytest.mark.parametrize("pattern", ["temporal-four", "three-pulse", "chirp"])
def test_a_hand_that_holds_on_answers_before_the_button_is_told_as_stuck(
    monkeypatch: pytest.MonkeyPatch, pattern: str
) -> None:
    """The core's own word tells that it sounds; its fault comes after the answer."""
    order: list[object] = []
    script: list[object] = [Sound(pattern, "o2-low"), [(True, 1.0)], (), (), ()]
    script += [[(False, 40.0)]]
    got, told, _ = run(script, monkeypatch, order=order)
    assert [act.kind.value for act in got] == ["mark", "acknowledge"]
    assert told.kinds() == ["stuck", "ok"]
    assert [type(one) for one in order] == [Act, Act, SourceFault, SourceOk]


def test_the_sound_of_a_test_is_no_alarm_to_be_answered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    script: list[object] = [Sound("test"), [(True, 1.0)], [(False, 4.0)]]
    script += [Sound("chirp"), Sound("quiet"), [(True, 10.0)], [(False, 14.0)]]
    got, _, _ = run(script, monkeypatch)
    assert [act.kind.value for act in got] == ["mark", "mark"]


def test_a_line_that_cannot_be_had_or_is_lost_is_tried_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    no_line = LineError(2, "GPIO line 'GPIO27': no such line")
    script = [[(True, 1.0)], LineError(19, "gone"), [(True, 9.0)], [(False, 9.2)]]
    got, told, line = run(script, monkeypatch, refusals=[no_line] * 2)
    assert [act.kind for act in got] == [ActKind.ACKNOWLEDGE]
    assert told.kinds()[0] == "port-missing"
    assert told.kinds()[-1] == "ok"
    assert line.closed == 2


def test_a_core_that_stumbles_does_not_end_the_button() -> None:
    clock, told, calls = HandClock(), Told(), []

    def bug(act: Act) -> None:
        calls.append(act)
        raise ZeroDivisionError("bug")

    edges = [[(True, 1.0)], [(False, 1.2)], [(True, 3.0)], [(False, 3.2)]]
    line = Scripted(edges, clock)
    one = Button(lambda: line, bug, told, clock)  # type: ignore[arg-type,return-value]
    one.start()
    until = time.perf_counter() + 10.0
    while len(calls) < 2 and time.perf_counter() < until:
        time.sleep(0.002)
    one.stop(5.0)
    assert len(calls) == 2


@pytest.mark.parametrize("bug", [ZeroDivisionError, MemoryError, SystemExit])
def test_a_bug_in_the_line_does_not_end_the_button(
    monkeypatch: pytest.MonkeyPatch, bug: type[BaseException]
) -> None:
    """Told as a fault, and the line is taken anew: no press is lost in silence."""
    monkeypatch.setattr(thread, "AGAIN_S", 0.01)
    script = [bug("bug"), [(True, 1.0)], [(False, 1.2)]]
    got, told, line = run(script, monkeypatch)
    assert [act.kind for act in got] == [ActKind.ACKNOWLEDGE]
    assert told.kinds() == ["late", "ok"]
    assert line.closed == 2


def test_a_bug_where_the_line_is_taken_does_not_end_the_button(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """As when a package is half installed: tried again, and told when it is well."""
    monkeypatch.setattr(thread, "AGAIN_S", 0.01)
    bugs = [AttributeError("no request_lines"), ImportError("no symbol")]
    script: list[object] = [[(True, 1.0)], [(False, 1.2)]]
    got, told, line = run(script, monkeypatch, refusals=bugs)
    assert [act.kind for act in got] == [ActKind.ACKNOWLEDGE]
    assert told.kinds() == ["late", "late", "ok"]
    assert line.closed == 1
