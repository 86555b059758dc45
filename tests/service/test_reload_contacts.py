"""A reload takes no contact away whose alarm rings, and ends no alarm of one."""

import tempfile
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.compose.compose import CoreBuild
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import Act, ActKind, Air, AlarmState
from cabinvigil.daemon.core.snapshot import carry_over, restore, to_plain
from cabinvigil.daemon.sampling.line_sampler import LevelFile
from cabinvigil.daemon.sampling.wiring import REAL, Wires
from cabinvigil.daemon.service.reload import why_kept
from cabinvigil.daemon.settings.config import Settings, load
from cabinvigil.daemon.settings.values import PartSettings
from cabinvigil.daemon.settings.words import renderer
from tests.core.test_contacts import PARTS, table
from tests.running import running
from tests.service.test_reload import edit

CONTACTS = ("fore", "aft", "locker", "hatch")
MEANS = ("smoke", "gas", "door")
Wanted = tuple[tuple[str, str, str], ...]
"""Contacts by (name, line, means)."""
CABIN = st.lists(
    st.tuples(
        st.sampled_from(CONTACTS), st.sampled_from("567"), st.sampled_from(MEANS)
    ),
    max_size=3,
    unique_by=(lambda one: one[0], lambda one: one[1]),
).map(tuple)


@cache
def read(wanted: Wanted) -> Settings:
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "cabin.toml"
        text = [table(name, f"GPIO{line}", means) for name, line, means in wanted]
        file.write_text(PARTS + "".join(text), encoding="utf-8")
        return load(file)


@cache
def core(wanted: Wanted) -> CoreBuild:
    return compose_settings(read(wanted), renderer("en"))


def readings(wanted: Wanted, closed: set[tuple[str, str, str]]) -> dict[str, float]:
    """What the contacts give: those that are as they were tell on, others rest."""
    keys = core(wanted).keys
    return {keys[one[0], "contact"]: float(one in closed) for one in wanted}


@pytest.mark.hazard("silenced-by-reload")
@settings(max_examples=150, deadline=None)
@given(CABIN, CABIN, st.data())
def test_no_reload_that_is_taken_ends_the_alarm_of_a_closed_contact(
    old: Wanted, new: Wanted, data: st.DataObject
) -> None:
    """Answered or not; and where one is closed that would go, it is refused."""
    closed = {one for one in old if data.draw(st.booleans())}
    guards = {one for one in closed if one[2] != "door"}
    is_answered = data.draw(st.booleans())
    state = start(core(old).setup, 0.0)
    for now in (1.0, 2.0, 6.0):
        state, _ = step(state, Air(readings(old, closed)), now)
    if is_answered:
        state, _ = step(state, Act(ActKind.ACKNOWLEDGE), 7.0)
    why = why_kept(state.history, read(old), read(new))
    assert bool(why) == (not guards <= set(new))
    if why:
        return
    state, _ = carry_over(state, core(new).setup, 8.0)
    for now in (9.0, 20.0, 40.0):
        state, _ = step(state, Air(readings(new, closed)), now)
        for _, _, means in guards:
            standing = state.standings[f"contact-{means}"]
            assert standing.stands
            assert standing.sounds or is_answered


@pytest.mark.hazard("silenced-by-restart")
@settings(max_examples=100, deadline=None)
@given(CABIN, CABIN, st.data())
def test_no_restart_without_a_contact_ends_its_alarm_before_somebody_answers(
    old: Wanted, new: Wanted, data: st.DataObject
) -> None:
    """A start cannot be refused: what the contact told it has not taken back."""
    closed = {one for one in old if data.draw(st.booleans()) and one[2] != "door"}
    state = start(core(old).setup, 0.0)
    for now in (1.0, 2.0, 6.0):
        state, _ = step(state, Air(readings(old, closed)), now)
    state, _ = restore(core(new).setup, to_plain(state), 8.0, down_s=2.0)
    for now in range(9, 700, 30):
        state, _ = step(state, Air(readings(new, closed)), float(now))
    for means in {one[2] for one in closed}:
        assert state.standings[f"contact-{means}"].sounds
    for now in (710.0, 1400.0):
        state, _ = step(state, Act(ActKind.ACKNOWLEDGE), now)
        state, _ = step(state, Air(readings(new, set())), now + 1.0)
        state, _ = step(state, Air(readings(new, set())), now + 20.0)
    for means in {one[2] for one in closed}:
        assert state.standings[f"contact-{means}"].state is AlarmState.NORMAL


class Level:
    """A line that stands as the test says."""

    def __init__(self) -> None:
        self.is_closed = False

    def levels(self) -> bytes:
        return b"%d =500\n" % self.is_closed

    def close(self) -> None: ...


async def test_a_reload_that_renames_a_closed_contact_is_refused_aloud(
    tmp_path: Path,
) -> None:
    level = Level()

    def line(_name: str, part: PartSettings) -> LevelFile:
        return LevelFile(part.line or "", lambda: level)

    wires: Wires = replace(REAL, line=line)
    async with running(tmp_path, table("own", "GPIO5", "smoke"), wires) as run:
        watcher = run.app.watcher
        await run.until(lambda: "contact_smoke" in watcher.numbers())
        level.is_closed = True
        await run.until(lambda: run.sounds("temporal-four"))
        await edit(run, tmp_path, "[part.own]", "[part.other]")
        fault = watcher.faults["settings"]
        assert (fault.kind, fault.text) == (
            "not-taken",
            (
                "The new config is refused, the old one stays in use: it removes, "
                "renames or changes [part.own], and the smoke alarm on it is active; "
                "reload when that is over, or restart the monitor"
            ),
        )
        assert "own" in run.app.settings.parts
        assert run.sounds("temporal-four")
        level.is_closed = False
        await run.until(lambda: watcher.numbers()["contact_smoke"] == 0.0)
        await run.app.reload()
        assert "settings" not in watcher.faults
        assert "other" in run.app.settings.parts
        assert run.sounds("temporal-four"), "nobody has answered"
