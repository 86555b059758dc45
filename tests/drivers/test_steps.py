"""What an entry of the registry works out from options: steps, inputs, what is left."""

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from cabinvigil.drivers import REGISTRY, co_cell_ads1115, frame9_co, part
from cabinvigil.drivers.kit.co_cold import WARM_C
from cabinvigil.drivers.kit.conditions import Conditions

ANY_AIR = Conditions((-40.0, 85.0), (0.0, 100.0))


@pytest.mark.parametrize("name", sorted(REGISTRY))
def test_without_options_each_says_steps_and_inputs_of_its_own(name: str) -> None:
    """Steps are of what it gives, and more than nothing; inputs are named ones."""
    info = part(name)
    steps = info.steps({})
    assert set(steps) <= set(info.gives)
    assert all(step > 0.0 for step in steps.values())
    assert info.leaves_out({}) <= set(info.gives)
    inputs = info.inputs({})
    assert inputs is None or inputs <= set("0123")


@given(st.floats(0.01, 10.0), st.integers(0, 400))
def test_a_module_s_step_is_what_one_count_of_its_replies_adds(
    answer_ppm: float, counts: int
) -> None:
    options = {"mode": "question", "answer_ppm": answer_ppm, "full_scale_ppm": 5000.0}
    shown = []
    for count in (counts, counts + 1):
        body = b"\x86" + count.to_bytes(2, "big") + bytes(4)
        frame = b"\xff" + body + bytes([-sum(body) & 0xFF])
        module = frame9_co.make(options)
        module.request()
        (sample,) = module.feed(frame)
        assume(sample.quality == "good")
        shown.append(sample.value)
    step_ppm = frame9_co.PART.steps(options)["co_ppm"]
    assert shown[1] - shown[0] == pytest.approx(step_ppm, rel=1e-6)


@given(st.floats(100.0, 1e6), st.floats(10.0, 5000.0), st.integers(-2000, 30_000))
def test_a_cell_s_step_is_what_one_count_adds_in_the_warm(
    gain_ohm: float, sensitivity: float, counts: int
) -> None:
    """However large its zero: a step is a difference."""
    options = {"gain_ohm": gain_ohm, "sensitivity_na_per_ppm": sensitivity}
    cell = co_cell_ads1115.cell_of({**options, "zero_na": -30.0})
    low, high = (
        co_cell_ads1115.samples(count, cell, ANY_AIR, WARM_C)[0].value
        for count in (counts, counts + 1)
    )
    step_ppm = co_cell_ads1115.PART.steps(options)["co_ppm"]
    assert high - low == pytest.approx(step_ppm, rel=1e-4, abs=1e-9)


@given(st.sampled_from("0123"))
def test_a_watched_contact_has_the_one_input_of_its_wire(pin: str) -> None:
    """So that another part may have the others of the converter."""
    assert part("contact").inputs({"pins": pin}) == {pin}
    assert part("contact").inputs({}) == {"0"}
