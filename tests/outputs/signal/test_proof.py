"""What proves the sound never silences it: it sounds, and says it is unheard."""

import pytest

from cabinvigil.daemon.core.model import Sound, SourceFault
from cabinvigil.daemon.outputs.signal.buzzer import Buzzer
from cabinvigil.daemon.outputs.signal.gpio import LineCheck, LineError, open_gpio
from cabinvigil.daemon.outputs.signal.light import Light
from tests.outputs.hands import HandClock, SensedLine, Told
from tests.outputs.signal.kernel import PIN, SENSE, Kernel
from tests.outputs.signal.sounding import pulses, run
from tests.recording_line import RecordingLine

BUSY = OSError(16, "Device or resource busy")
BROKEN = OSError(5, "Input/output error")
DANGER = Sound("temporal-four", "o2-low")


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


def sensed(clock: HandClock) -> tuple[Buzzer, Told]:
    told = Told()
    return Buzzer(lambda: open_gpio(PIN, sense=SENSE), clock, told, inline=True), told


def ons(kernel: Kernel) -> int:
    return sum(
        on and not was
        for was, on in zip([0, *kernel.driven], kernel.driven, strict=False)
    )


def test_a_sense_line_that_is_busy_at_the_start_takes_no_pulse(
    kernel: Kernel, clock: HandClock
) -> None:
    """Eleven groups of temporal-four are 44 pulses; told at once, not at the alarm."""
    kernel.refuses = {f"request {SENSE}": BUSY}
    buzzer, told = sensed(clock)
    run(buzzer, clock, 1.0)
    assert told.kinds() == ["unproved"]
    assert isinstance(told[0], SourceFault)
    assert SENSE in told[0].text
    assert "another program" in told[0].text
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 1.0 + 11 * 5.7 - 0.1)
    assert ons(kernel) == 44
    assert told.kinds() == ["unproved"]
    assert buzzer.last_heard()[0] is LineCheck.CANNOT_TELL


def test_a_sense_line_that_is_free_again_proves_again(
    kernel: Kernel, clock: HandClock
) -> None:
    """In silence too: who goes to bed then has a proof."""
    kernel.refuses = {f"request {SENSE}": BUSY}
    buzzer, told = sensed(clock)
    run(buzzer, clock, 1.0)
    kernel.refuses = {}
    run(buzzer, clock, 20.0)
    assert told.kinds() == ["unproved", "ok"]
    kernel.follows = True
    buzzer.test()
    run(buzzer, clock, 40.0)
    assert buzzer.last_heard()[0] is LineCheck.HEARD
    buzzer.stop(1.0)
    assert sorted(kernel.released) == sorted([PIN, SENSE])


def test_a_sense_line_that_cannot_be_read_later_takes_no_pulse(
    kernel: Kernel, clock: HandClock
) -> None:
    """And the pin itself is held on to; the sense line is taken anew."""
    kernel.follows = True
    buzzer, told = sensed(clock)
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 5.5)
    kernel.refuses = {f"get {SENSE}": BROKEN}
    run(buzzer, clock, 11 * 5.7 - 0.1)
    assert ons(kernel) == 44
    assert told.kinds() == ["unproved"]
    assert PIN not in kernel.released
    kernel.refuses = {}
    run(buzzer, clock, 12 * 5.7)
    assert told.kinds() == ["unproved", "ok"]


def test_in_silence_a_proof_that_goes_is_told_within_a_quarter_of_a_minute(
    kernel: Kernel, clock: HandClock
) -> None:
    buzzer, told = sensed(clock)
    run(buzzer, clock, 60.0)
    assert told == []
    kernel.refuses = {f"get {SENSE}": BROKEN}
    run(buzzer, clock, 75.0)
    assert told.kinds() == ["unproved"]


def test_noise_in_a_silent_cabin_is_no_sense_line_that_is_stuck(
    clock: HandClock,
) -> None:
    """A look in silence asks for a proof, and does not weigh what it hears."""
    line, told = SensedLine(clock), Told()
    line.sensed[False] = True
    buzzer = Buzzer(lambda: line, clock, told, inline=True)
    run(buzzer, clock, 3_600.0)
    assert told == []


def test_a_pin_that_works_again_is_no_proof(kernel: Kernel, clock: HandClock) -> None:
    """Two faults of one sounder, each with its own end."""
    kernel.refuses = {f"request {SENSE}": BUSY}
    buzzer, told = sensed(clock)
    run(buzzer, clock, 1.0)
    kernel.refuses[f"set {PIN}"] = BROKEN
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 3.0)
    assert told.kinds() == ["unproved", "port-missing"]
    del kernel.refuses[f"set {PIN}"]
    run(buzzer, clock, 20.0)
    assert told.kinds() == ["unproved", "port-missing", "unproved"]
    kernel.refuses, kernel.follows = {}, True
    run(buzzer, clock, 40.0)
    assert told.kinds() == ["unproved", "port-missing", "unproved", "ok"]


@pytest.mark.parametrize("checks", [2, 3])
def test_a_loose_contact_is_told_from_its_third_pulse_on(
    clock: HandClock, checks: int
) -> None:
    line, told = SensedLine(clock), Told()
    buzzer = Buzzer(lambda: line, clock, told, inline=True)
    line.sensed[True] = False
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, checks * 0.2 - 0.05)
    assert told.kinds() == ["not-heard"] * (checks == 3)


def test_a_pin_that_stays_driven_in_silence_is_told_as_that(clock: HandClock) -> None:
    """It has no sense line that could claim anything."""

    class Shorted(RecordingLine):
        def self_test(self) -> LineCheck:
            return LineCheck.DRIVEN if self.is_on else LineCheck.NOT_DRIVEN

    told = Told()
    buzzer = Buzzer(lambda: Shorted(clock), clock, told, inline=True)
    buzzer.handle(DANGER, clock.stamp())
    run(buzzer, clock, 30.0)
    assert told.kinds() == ["sense-stuck"]
    assert "still driven" in told[0].text  # type: ignore[union-attr]


def test_a_light_whose_pin_cannot_be_read_goes_on_blinking(clock: HandClock) -> None:
    class Blind(RecordingLine):
        def self_test(self) -> LineCheck:
            raise LineError(5, "GPIO line 'GPIO23' cannot be read")

    line, told = Blind(clock), Told()
    light = Light(lambda: line, clock, told, inline=True)
    while clock.now_s < 100.0:
        wait_s = light.step(clock.now_s)
        clock.now_s += min(wait_s, 0.5)
    assert len(pulses(line)) == 7
    assert told.kinds() == ["unproved"]
