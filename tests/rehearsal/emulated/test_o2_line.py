"""The emulated optical O2 line: form, commands, fog."""

import re
from dataclasses import replace

from cabinvigil.daemon.rehearsal.emulated.o2_line import EmulatedO2Line
from tests.rehearsal.emulated.world import World

LINE = re.compile(
    rb"O \d{4}\.\d T [+-]\d\d\.\d P (\d{4}|----) % (\d{3}\.\d\d|-{6}) e \d{4}\r\n"
)


def test_the_o2_line_has_the_vectors_form(world: World) -> None:
    """The stream's form is that of the vectors, with and without a pressure cell."""
    assert LINE.fullmatch(b"O 0212.3 T +22.5 P 1013 % 020.95 e 0000\r\n")
    world.air = replace(world.air, temp_c=-5.1)
    assert LINE.fullmatch(world.make(EmulatedO2Line).send())
    bare = world.make(EmulatedO2Line, has_pressure_cell=False).send()
    assert LINE.fullmatch(bare)
    assert b"P ---- % ------" in bare
    assert b"T -05.1" in bare


def test_the_o2_line_obeys_its_commands(world: World) -> None:
    """M, A, single values and errors answer as in the sensor notes, section 11."""
    part = world.make(EmulatedO2Line)
    assert part.receive(b"M 1") == b""  # no line end yet
    assert part.receive(b"\r\n") == b"M 01\r\n"
    assert part.due_s() is None
    assert LINE.fullmatch(part.receive(b"A\r\n"))
    assert re.fullmatch(rb"% \d{3}\.\d\d\r\n", part.receive(b"%\r\n"))
    assert part.receive(b"e\r\n") == b"e 0000\r\n"
    assert re.fullmatch(rb"# \d{5} \d{5}\r\n", part.receive(b"# 1\r\n"))
    assert part.receive(b"x\r\n") == b"E 00001\r\n"
    assert part.receive(b"M 7\r\n") == b"E 00003\r\n"
    assert part.receive(b"y" * 30) == b"E 00000\r\n"
    assert part.receive(b"M 0\r\n") == b"M 00\r\n"
    assert part.due_s() == 1.0


def test_the_o2_line_stands_still_in_fog(world: World) -> None:
    """Above saturation the disc is wet and the oxygen field freezes; then it moves."""
    part = world.make(EmulatedO2Line)
    world.air = replace(world.air, rh_pct=103.0)
    oxygen = set()
    for _ in range(20):
        world.pass_(1.0)
        oxygen.add(part.send()[2:8])
    assert len(oxygen) == 1
    world.air = replace(world.air, rh_pct=80.0)
    for _ in range(20):
        world.pass_(1.0)
        oxygen.add(part.send()[2:8])
    assert len(oxygen) > 3
