"""The phones learn who acknowledged: one of them, or somebody in the cabin."""

import pytest

from cabinvigil.daemon.core.model import Act, ActKind, Alert
from tests.core.scenario import Night
from tests.core.test_notification import BAD, GOOD, night

SECOND_CALLED_S = 400.0
"""Nobody answered for so long: the second phone has been called."""


def said(some: Night) -> list[Alert]:
    return [one for _, one in some.alerts() if one.alarm == "answered"]


@pytest.mark.hazard("nobody-answers")
def test_both_phones_learn_who_answered() -> None:
    """An answer from far away is told: perhaps nobody is awake in the cabin."""
    some = night()
    some.hold(BAD, 400.0)
    some.take(Act(ActKind.ACKNOWLEDGE, by="phone", text="Ana's phone"), 5.0)
    some.hold(GOOD, 700.0)
    told = said(some)
    assert [one.escalation for one in told] == [0, 2]
    assert "Ana's phone" in told[0].text


@pytest.mark.hazard("nobody-answers")
def test_who_answered_is_no_comfort_once_it_sounds_again() -> None:
    """No room for ten minutes, and the quiet lasts five: it is not told any more."""
    some = night()
    for value in (10_500.0, 900.0, 10_600.0, 900.0, 10_700.0):
        some.hold(GOOD | {"co2_ppm": value}, 120.0)
    some.hold(BAD, 20.0)
    some.take(Act(ActKind.ACKNOWLEDGE, by="phone", text="Ana's phone"), 5.0)
    answered_s = some.now
    some.hold(BAD, 1500.0)
    told_s = [at for at, one in some.alerts() if one.alarm == "answered"]
    again_s = min(
        at for at, one in some.alerts() if at > answered_s and one.alarm != "answered"
    )
    assert all(at < again_s for at in told_s)


def test_an_answer_to_what_is_over_promises_no_quiet() -> None:
    """It ends what still sounded: there is nothing left that could sound again."""
    some = night()
    some.hold(BAD, 60.0)
    some.hold(GOOD, 900.0)
    some.take(Act(ActKind.ACKNOWLEDGE, by="phone", text="Ana's phone"), 5.0)
    some.hold(GOOD, 30.0)
    (told, *_) = said(some)
    assert "Ana's phone" in told.text
    assert "seconds" not in told.text


@pytest.mark.hazard("nobody-answers")
def test_whoever_was_called_learns_that_somebody_in_the_cabin_answered() -> None:
    """Told "call now, no one answers"; the button is pressed, and that at once is told.

    The first phone has had its three texts of ten minutes: this one it gets too.
    """
    some = night()
    some.hold(BAD, SECOND_CALLED_S)
    some.act("ack")
    some.hold(BAD, 2.0)
    told = said(some)
    assert [one.escalation for one in told] == [0, 2]
    assert "in the cabin" in told[0].text
    assert "seconds" in told[0].text, "for how long it is quiet"


def test_a_button_that_is_pressed_in_time_is_no_news_to_a_phone() -> None:
    """Nobody was called, so nobody waits for word of it."""
    some = night()
    some.hold(BAD, 60.0)
    some.act("ack")
    some.hold(GOOD, 700.0)
    assert not said(some)


def test_an_answer_from_the_cabin_to_what_is_over_leaves_the_word_to_its_end() -> None:
    """ "Stay outside until the cause is found" waits for no word of who it was."""
    some = night()
    some.hold(BAD, SECOND_CALLED_S)
    some.hold(GOOD, 900.0)
    some.act("ack")
    some.hold(GOOD, 600.0)
    assert not said(some)


@pytest.mark.hazard("silenced-by-button")
def test_a_button_that_chatters_calls_nobody_off() -> None:
    """Seven presses within a minute: then it sounds, and says no more of answers."""
    some = night()
    some.hold(BAD, SECOND_CALLED_S)
    for _ in range(7):
        some.take(Act(ActKind.ACKNOWLEDGE), 1.0)
    some.hold(BAD, 1.0)
    before = len(said(some))
    some.take(Act(ActKind.ACKNOWLEDGE), 1.0)
    some.hold(BAD, 60.0)
    assert some.state.sound.pattern == "temporal-four"
    assert len(said(some)) == before <= 2
