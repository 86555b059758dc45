"""The emulated SGP41: fewer ticks are more VOC."""

from dataclasses import replace

from cabinvigil.daemon.rehearsal.emulated import words
from cabinvigil.daemon.rehearsal.emulated.sgp41 import EmulatedSgp41
from tests.rehearsal.emulated.world import World, ask


def test_the_sgp41_follows_voc_downwards(world: World) -> None:
    """Fewer ticks are more VOC; the self-test passes with d400 (SGP40 p.14)."""
    part = world.make(EmulatedSgp41)
    world.pass_(0.01)
    assert ask(world, part, bytes.fromhex("280e"), 3, 0.32) == bytes.fromhex("d400c6")
    command = bytes.fromhex("2619 8000 a2 6666 93")  # vector 'measure_raw default'

    def voc() -> int:
        got = words.checked_words(ask(world, part, command, 6, 0.05))
        assert got is not None
        return got[0]

    voc()
    world.pass_(60.0)
    clean = voc()
    world.air = replace(world.air, voc_ppb=1500.0)
    assert voc() < clean - 1000
