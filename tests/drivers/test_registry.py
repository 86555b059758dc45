"""Every part in the registry: complete, honest in its figures, plain in its errors.

A new part is one file and one line, and is tested here by itself.
"""

import math
import pkgutil
import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import cabinvigil.drivers
from cabinvigil.drivers import REGISTRY, identifier, part
from cabinvigil.drivers.kit.quantity import QUANTITIES
from cabinvigil.drivers.kit.steps import Sample, Transfer
from cabinvigil.drivers.kit.words import with_crc
from tests.wire import MODEST, outcome

PARTS = sorted(REGISTRY)
STREAMS = [name for name in PARTS if part(name).bus != "i2c"]
POLLED = [name for name in PARTS if part(name).bus == "i2c"]
VECTORS = Path(__file__).parents[1] / "data" / "sensors" / "vectors.toml"


def test_each_file_is_a_line() -> None:
    """A file without its line, or a line without its file, would be of no use."""
    files = {
        module.name
        for module in pkgutil.iter_modules(cabinvigil.drivers.__path__)
        if module.name != "kit"
    }
    assert files == set(REGISTRY)


def test_unknown_part() -> None:
    """A misspelt part is told with the parts that there are."""
    with pytest.raises(
        KeyError, match=r"no sensor is called 'scd40'; .*bme280, .*scd4x"
    ):
        part("scd40")
    with pytest.raises(KeyError):
        identifier("scd40")


@pytest.mark.parametrize("name", PARTS)
def test_info_is_complete(name: str) -> None:
    """Name, quantities and times make sense together."""
    info = part(name)
    assert info.name == name
    assert info.gives.keys() <= QUANTITIES.keys()
    assert set(info.needs) <= QUANTITIES.keys()
    # Some optical modules have their own pressure cell, others need to be told; and so
    # it is with an STCC4's thermometer.
    both = {"o2_optical_line": {"pressure_hpa"}, "stcc4": {"temp_c", "rh_pct"}}
    assert set(info.needs) & info.gives.keys() == both.get(name, set())
    assert 0 < info.interval_s < info.max_age_s
    assert info.warm_up_s > 0
    assert info.range_c[0] < 20 < info.range_c[1]  # a room
    assert info.service_years >= 0


@pytest.mark.parametrize("name", PARTS)
def test_figures_are_honest(name: str) -> None:
    """Each quantity's figures are positive, and stuck takes many intervals."""
    info = part(name)
    assert info.gives
    for gives in info.gives.values():
        assert gives.resolution > 0
        assert gives.noise > 0
        assert gives.lag_s > 0
        assert gives.stuck_s >= 20 * info.interval_s
        assert gives.jump_per_s * info.interval_s > 10 * gives.noise


@pytest.mark.parametrize("name", POLLED)
def test_addresses(name: str) -> None:
    """The default address is one of the part's, all within 7 bits."""
    info = part(name)
    assert info.address in info.addresses
    assert all(0x08 <= address <= 0x77 for address in info.addresses)


def test_only_cells_at_a_converter_leave_inputs_to_others() -> None:
    """Any other has the chip at its address alone: a config refuses a second there."""
    cells = [name for name in POLLED if part(name).inputs({}) is not None]
    assert cells == [name for name in POLLED if name.endswith("_ads1115")]


@pytest.mark.parametrize("name", PARTS)
def test_make(name: str) -> None:
    """A part is made without options; a wrong option is refused with its name."""
    info = part(name)
    info.make({})
    with pytest.raises(ValueError, match="colour: no such option"):
        info.make({"colour": 1})
    for key in info.options:
        with pytest.raises(ValueError, match=f"{key}: "):
            info.make({key: "?"})


ENDS = {
    ("co_cell_ads1115", "gain_ohm"): (100.0, 1e6),
    ("co_cell_ads1115", "sensitivity_na_per_ppm"): (10.0, 5000.0),
    ("co_cell_ads1115", "zero_na"): (-5000.0, 5000.0),
    ("co_named_i2c", "answer_ppm"): (0.01, 10.0),
    ("co_named_i2c", "full_scale_ppm"): (100.0, 5000.0),
    ("co_named_i2c", "zero_ppm"): (-10.0, 10.0),
    ("co_named_line", "answer_ppm"): (0.01, 10.0),
    ("co_named_line", "full_scale_ppm"): (100.0, 5000.0),
    ("co_named_line", "zero_ppm"): (-10.0, 10.0),
    ("contact", "alarm_ohm"): (100.0, 400_000.0),
    ("contact", "pull_up_ohm"): (1000.0, 100_000.0),
    ("contact", "rest_ohm"): (100.0, 400_000.0),
    ("contact", "supply_mv"): (1800.0, 4000.0),
    ("frame9_co", "answer_ppm"): (0.01, 10.0),
    ("frame9_co", "full_scale_ppm"): (100.0, 5000.0),
    ("frame9_co", "mode_byte"): (0, 255),
    ("frame9_co", "zero_ppm"): (-10.0, 10.0),
    ("frame9_co2", "full_scale_ppm"): (1000.0, 50000.0),
    ("frame9_gas", "answer_lel_pct"): (0.01, 5.0),
    ("frame9_gas", "full_scale_lel_pct"): (20.0, 100.0),
    ("frame9_gas", "zero_lel_pct"): (-2.0, 2.0),
    ("frame9_o2", "air_hpa"): (300.0, 1100.0),
    ("frame9_o2", "air_o2_pct"): (19.0, 21.0),
    ("frame9_o2", "air_reading_pct"): (7.0, 25.0),
    ("frame9_o2", "mode_byte"): (0, 255),
    ("ina219", "shunt_mohm"): (0.1, 1000.0),
    ("ina226", "shunt_mohm"): (0.1, 1000.0),
    ("modbus_co2", "full_scale_ppm"): (1000.0, 50000.0),
    ("ina228", "shunt_mohm"): (0.1, 1000.0),
    ("gas_bead_ads1115", "bridge_mv"): (1000.0, 5000.0),
    ("gas_bead_ads1115", "mv_per_lel_pct"): (0.1, 20.0),
    ("gas_bead_ads1115", "zero_mv"): (-30.0, 30.0),
    ("o2_amplified_ads1115", "air_hpa"): (300.0, 1100.0),
    ("o2_amplified_ads1115", "air_mv"): (300.0, 2450.0),
    ("o2_amplified_ads1115", "air_o2_pct"): (19.0, 21.0),
    ("o2_amplified_ads1115", "air_temp_c"): (-40.0, 60.0),
    ("o2_amplified_ads1115", "slope_pct_per_k"): (-1.0, 1.0),
    ("o2_amplified_ads1115", "zero_mv"): (-100.0, 100.0),
    ("o2_cell_ads1115", "air_hpa"): (300.0, 1100.0),
    ("o2_cell_ads1115", "air_mv"): (7.0, 70.0),
    ("o2_cell_ads1115", "air_o2_pct"): (19.0, 21.0),
    ("o2_cell_ads1115", "air_temp_c"): (-40.0, 60.0),
    ("o2_cell_ads1115", "slope_pct_per_k"): (-1.0, 1.0),
    ("o2_cell_ads1115", "zero_mv"): (-1.0, 1.0),
    ("o2_key_register", "air_hpa"): (300.0, 1100.0),
    ("o2_key_register", "air_o2_pct"): (19.0, 21.0),
    ("o2_key_register", "air_reading_pct"): (7.0, 25.0),
    ("scd30", "altitude_m"): (0.0, 3000.0),
    ("scd30", "temp_offset_c"): (0.0, 20.0),
    ("scd4x", "altitude_m"): (0.0, 3000.0),
    ("scd4x", "temp_offset_c"): (0.0, 20.0),
    ("sen6x", "altitude_m"): (0.0, 3000.0),
}
"""What the number options take, both ends allowed."""


@pytest.mark.parametrize("name", PARTS)
def test_each_number_option_has_its_ends_here(name: str) -> None:
    """A new one's ends are thought of twice."""
    for key in part(name).options:
        with pytest.raises(ValueError, match=f"{key}: ") as refused:
            part(name).make({key: 1e99})
        if "outside" in str(refused.value):
            assert (name, key) in ENDS, f"ENDS in {__file__}: what {key} takes"


@pytest.mark.parametrize(("name", "key"), ENDS)
def test_the_ends_of_an_option(name: str, key: str) -> None:
    """Its ends are taken, what lies beyond is refused with both of them."""
    low, high = ENDS[name, key]
    said = f"outside {low:g} to {high:g}"
    for end, beyond in ((low, -math.inf), (high, math.inf)):
        part(name).make({key: end})
        with pytest.raises(ValueError, match=re.escape(said)):
            part(name).make({key: math.nextafter(end, beyond)})


@pytest.mark.parametrize("name", PARTS)
def test_streams_have_no_identifier(name: str) -> None:
    """Parts on a port are told by what they send; only bus parts are asked."""
    if part(name).bus != "i2c":
        assert identifier(name) is None


@pytest.mark.parametrize("name", POLLED)
@MODEST
@given(st.data())
def test_polled_parts_are_total(name: str, data: st.DataObject) -> None:
    """Whatever bytes answer, set-up and poll end in samples or one named error."""
    made = part(name).make({})
    _run_with_any(made.setup(), data)
    found = _run_with_any(made.poll(), data)
    for sample in found or []:
        assert sample.quantity in part(name).gives


@pytest.mark.parametrize("name", POLLED)
@MODEST
@given(st.data())
def test_identifiers_are_total(name: str, data: st.DataObject) -> None:
    """Whatever bytes answer, an identifier says yes or no, and writes no setting."""
    identify = identifier(name)
    if identify is None:
        assert name == "o2_key_register"
        return
    _run_with_any(identify(), data)


def _reply(size: int) -> st.SearchStrategy[bytes]:
    """Draw bytes of a size, often such that word checksums fit."""
    anything = st.binary(min_size=size, max_size=size)
    if size % 3:
        return anything
    word = st.integers(0, 0xFFFF).map(with_crc)
    return anything | st.lists(word, min_size=size // 3, max_size=size // 3).map(
        b"".join
    )


def _run_with_any(steps, data):  # type: ignore[no-untyped-def]
    """Answer each transfer with bytes that hypothesis draws, most of the right size."""

    def run() -> None:
        nonlocal result
        reply = None
        try:
            while True:
                transfer = steps.send(reply)
                assert isinstance(transfer, Transfer)
                size = transfer.rx_len
                sizes = st.sampled_from([size, size, size, 0, max(0, size - 1)])
                reply = data.draw(sizes.flatmap(_reply))
        except StopIteration as stop:
            result = stop.value

    result = None
    outcome(run)
    return result


def _vector_bytes() -> list[bytes]:
    vectors = tomllib.loads(VECTORS.read_text())["vector"]
    return [
        str(v["line"]).encode() if "line" in v else bytes.fromhex(v["bytes"])
        for v in vectors
        if v["part"].startswith(
            ("co9", "co_named", "o2_9", "ndir9", "modbus", "pm_", "optical", "ds18b20.")
        )
    ]


PIECES = st.lists(
    st.one_of(st.sampled_from(_vector_bytes()), st.binary(max_size=12)), max_size=6
)


def _collect(made, chunks):  # type: ignore[no-untyped-def]
    """Feed chunks as a shell does: go on after each error, and gather what waits."""
    samples: list[Sample] = []

    def feed(chunk: bytes) -> None:
        samples.extend(made.feed(chunk))

    for chunk in chunks:
        outcome(lambda chunk=chunk: feed(chunk))
    for _ in range(3):
        outcome(lambda: feed(b""))
    return samples


@pytest.mark.parametrize("name", [n for n in STREAMS if part(n).bus == "serial"])
@MODEST
@given(pieces=PIECES, cut=st.integers(1, 40))
def test_streams_are_total_in_any_chunks(
    name: str, pieces: list[bytes], cut: int
) -> None:
    """Any bytes give samples or named errors: the same bytewise, chunked and whole."""
    stream = b"".join(pieces)
    info = part(name)
    whole = _collect(info.make({}), [stream])
    chunks = [stream[at : at + cut] for at in range(0, len(stream), cut)]
    single = [stream[at : at + 1] for at in range(len(stream))]
    assert _collect(info.make({}), chunks) == whole
    assert _collect(info.make({}), single) == whole
    assert {sample.quantity for sample in whole} <= info.gives.keys()


@MODEST
@given(st.one_of(st.binary(max_size=250), st.sampled_from(_vector_bytes())))
def test_file_part_is_total(text: bytes) -> None:
    """Any file gives a sample or one named error."""
    made = part("ds18b20").make({})
    assert outcome(lambda: made.feed(text)) != "driver"


GOOD_FRAMES = {
    "co_named_line": bytes.fromhex("ff8600230400025851"),
    "frame9_co": bytes.fromhex("ff040301015e1388fe"),
    "frame9_co2": bytes.fromhex("ff86026047000000d1"),
    "frame9_gas": bytes.fromhex("ff86026047000000d1"),
    "frame9_o2": bytes.fromhex("ff05040100b400fa48"),
    "modbus_co2": bytes.fromhex("fe04080000000000000190 16e6"),
    "o2_optical_line": b"O 0171.0 T -05.1 P 0950 % 018.00 e 0000\r\n",
    "pm_frame": bytes.fromhex(
        "424d001c0005000800090005000800090384010400 3c0008000100009700023f"
    ),
}


@pytest.mark.parametrize("name", GOOD_FRAMES)
@MODEST
@given(noise=st.lists(st.binary(max_size=20), max_size=3).map(b"".join))
def test_good_frame_behind_any_noise(name: str, noise: bytes) -> None:
    """A good frame is found within one frame's length behind any garbage.

    A line also needs the end of the garbage line before it, hence the second.
    """
    made = part(name).make({})
    frame = GOOD_FRAMES[name]
    want = part(name).make({}).feed(frame)
    assert want
    found = _collect(made, [noise, frame, frame])
    assert found[-len(want) :] == want


def test_every_stream_has_a_good_frame() -> None:
    """The table above covers every part on a serial port."""
    serial = {name for name in STREAMS if part(name).bus == "serial"}
    assert GOOD_FRAMES.keys() == serial, f"GOOD_FRAMES in {__file__}: a frame of each"
