"""Two adapters that change places: no part's messages are taken for another's gas."""

from collections.abc import Iterator
from typing import Any

import pytest

from cabinvigil.daemon.rehearsal.emulated.air_now import AirNow
from cabinvigil.daemon.rehearsal.emulated.known import ON_SERIAL
from cabinvigil.drivers import part as find_part
from cabinvigil.drivers.kit.frame9 import READ, spell
from cabinvigil.drivers.kit.steps import DriverError, PartInfo, Sample

QUESTION = {"mode": "question"}
SCALE = {"answer_ppm": 0.1}
"""What a part that knows it needs as well."""


def ways(info: PartInfo) -> list[dict[str, Any]]:
    """The options under which a part is run differently."""
    if "mode" not in info.options:
        return [{}]
    return [{}, QUESTION | {k: v for k, v in SCALE.items() if k in info.options}]


def free(kind: str) -> list[dict[str, Any]]:
    """The options with which a part may have a port whose name moves."""
    info = find_part(kind)
    return [options for options in ways(info) if info.says_what(options)]


def swapped() -> Iterator[tuple[str, dict[str, Any], str]]:
    for kind in ON_SERIAL:
        for options in free(kind):
            for other in ON_SERIAL:
                if other != kind:
                    yield kind, options, other


def heard(
    kind: str, options: dict[str, Any], other: str, *, asks: bool
) -> list[Sample]:
    """What one part's codec reads of another part on its line, in five minutes.

    Args:
        kind: whose codec.
        options: of its config.
        other: the emulated part on the line.
        asks: whether something asks for answers all the same, as the part's own watch
            does until a swap is noticed.
    """
    now_s = 0.0
    codec = find_part(kind).make(options)
    part = ON_SERIAL[other](AirNow, 1, lambda: now_s)
    part.power_up()
    samples: list[Sample] = []

    def feed(data: bytes) -> None:
        while True:
            try:
                samples.extend(codec.feed(data))
            except DriverError:
                data = b""
            else:
                return

    feed(part.receive(codec.opening()))
    for second in range(300):
        now_s = float(second)
        while (due_s := part.due_s()) is not None and due_s <= now_s:
            feed(part.send())
        feed(part.receive(codec.request()))
        if asks:
            feed(part.receive(spell(READ)))
    return samples


@pytest.mark.parametrize("asks", [False, True])
@pytest.mark.parametrize(("kind", "options", "other"), list(swapped()))
def test_a_part_on_a_port_that_may_move_never_reads_another(
    kind: str, options: dict[str, Any], other: str, asks: bool
) -> None:
    """Whatever hangs there after a hub's brown-out."""
    assert heard(kind, options, other, asks=asks) == []


@pytest.mark.parametrize("kind", [kind for kind in ON_SERIAL if free(kind)])
def test_it_reads_its_own(kind: str) -> None:
    """So that the test above can fail."""
    assert heard(kind, free(kind)[0], kind, asks=False)


def test_what_is_bound_would_have_read_another() -> None:
    """The CO2 of a module's answers, as CO: why such a part is bound to its port."""
    co = [
        s.value for s in heard("frame9_co", QUESTION | SCALE, "frame9_co2", asks=False)
    ]
    assert max(co) > 35.0
