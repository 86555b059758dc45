"""Gas modules: the mode is the config's, both kinds of frame are read in either."""

import pytest

from cabinvigil.drivers.kit.module9 import GasModule, ModuleGas, mode_of, says_gas
from cabinvigil.drivers.kit.steps import Sample, WrongPartError

CO = ModuleGas(code=4, unit=3, words="CO", answer_step=0.1, full_scale=500.0)
UPLOAD = bytes.fromhex("ff040301015e1388fe")
ANSWER = bytes.fromhex("ff86002a0000000050")
ACKNOWLEDGED = bytes.fromhex("ff7801000000000087")
OTHER_GAS = bytes.fromhex("ff05040100d100fa2b")


def _module(**options: object) -> GasModule:
    seen = lambda value, full: [Sample("co_ppm", value, reason=str(full))]  # noqa: E731
    return GasModule(CO, mode_of(options), seen)


def test_upload_mode_asks_nothing() -> None:
    """`78 40` sets it (ZE07-CO p. 5, table 6), and then it sends by itself."""
    module = _module()
    assert module.opening() == bytes.fromhex("ff0178400000000047")
    assert module.request() == b""


def test_question_mode_asks() -> None:
    """`78 41` sets it (table 5), and each value is asked for."""
    module = _module(mode="question")
    assert module.opening() == bytes.fromhex("ff0178410000000046")
    assert module.request() == bytes.fromhex("ff0186000000000079")


def test_other_family() -> None:
    """Another family's byte is a matter of the config: 78 04 (a public driver)."""
    module = _module(mode="question", mode_byte=4)
    assert module.opening() == bytes.fromhex("ff0178040000000083")
    with pytest.raises(ValueError, match=r"mode_byte: 4.5 is not a whole number"):
        mode_of({"mode_byte": 4.5})


def test_one_that_is_asked_is_understood_unasked() -> None:
    """After a brown-out a module is back in its own mode, and is still understood."""
    module = _module(mode="question")
    assert module.feed(UPLOAD + ANSWER) == [
        Sample("co_ppm", 35.0, reason="500.0"),
        Sample("co_ppm", pytest.approx(4.2), reason="500.0"),
    ]


def test_one_that_is_not_asked_has_no_answers() -> None:
    """An answer names no gas: it may be another module's, on each other's ports."""
    module = _module(mode="upload")
    with pytest.raises(WrongPartError, match="unasked"):
        module.feed(UPLOAD + ANSWER)
    assert module.feed(b"") == [Sample("co_ppm", 35.0, reason="500.0")]


def test_only_what_is_sent_unasked_says_its_gas() -> None:
    """The registry tells which port names a part may have."""
    assert [says_gas(o) for o in ({}, {"mode": "upload"}, {"mode": "question"})] == [
        True,
        True,
        False,
    ]


def test_acknowledgement_is_no_value() -> None:
    """A frame that only repeats a setting gives nothing and is no error."""
    assert _module().feed(ACKNOWLEDGED) == []


def test_wrong_gas() -> None:
    """An oxygen module on the CO port is named, every time."""
    module = _module()
    for _ in range(2):
        with pytest.raises(WrongPartError, match="gas code is 05"):
            module.feed(OTHER_GAS)


def test_opening_forgets_half_a_frame() -> None:
    """After the port was opened again, the old half frame spoils nothing."""
    module = _module()
    module.feed(UPLOAD + UPLOAD[:4])
    module.opening()
    assert module.feed(UPLOAD) == [Sample("co_ppm", 35.0, reason="500.0")]
