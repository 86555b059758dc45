"""`span` where something else than the air is wrong: output, bus, folder, names."""

from datetime import timedelta
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.clock import Clock
from cabinvigil.daemon.commands.on_wires import FRESH, run_on_wires
from cabinvigil.daemon.rehearsal.nights import Failure
from cabinvigil.daemon.sampling.wiring import Wires
from cabinvigil.daemon.settings.config import load
from cabinvigil.daemon.span.fresh_air import YES
from cabinvigil.daemon.span.kept import SpansFile
from cabinvigil.daemon.span.session import GIVE_UP_S, SessionError, SpanSession
from tests.commands.test_span import USUAL, called, config, session

__all__ = ["config"]


@pytest.mark.parametrize(
    "words",
    [
        ["--kept", "--state", "{folder}"],
        ["--look"],
        ["--yes", YES],
        ["--undo", "bunk-co", "--state", "{folder}"],
    ],
)
def test_a_disk_that_does_not_take_the_output_is_said_to_be_that(
    config: Path,
    tmp_path: Path,
    words: list[str],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Not a wire's or the state folder's failure."""
    folder = tmp_path / "kept"
    session(load(config), folder)
    words = [word.format(folder=folder) for word in words]
    with Path("/dev/full").open("w", encoding="utf-8", buffering=1) as full:
        monkeypatch.setattr("sys.stdout", full)
        code = main(["span", "--config", str(config), "--emulated", *words])
    assert code == 3
    said = capsys.readouterr().err
    assert "the output cannot be written (No space left on device)" in said


@pytest.mark.parametrize(
    ("names", "dead", "words"),
    [
        (USUAL, ("bus", "bunk-co"), "bunk-co"),
        (("bunk-co2",), ("bus",), "main"),
    ],
)
def test_what_is_dead_is_not_waited_for(
    config: Path, names: tuple[str, ...], dead: tuple[str, ...], words: str
) -> None:
    """Told after half a minute, though other parts would give something."""
    took: list[float] = []
    failures = tuple(
        Failure(0.0, 1e6, name, "hold" if name == "bus" else "vanish") for name in dead
    )

    async def job(wires: Wires, clock: Clock) -> None:
        began_s = clock.monotonic()
        one = SpanSession(
            load(config), names, None, None, True, lambda _: None, lambda _: ""
        )
        try:
            await one.run(wires, clock)
        finally:
            took.append(clock.monotonic() - began_s)

    with pytest.raises(
        SessionError, match=rf"no sensor has given a reading: .*{words}"
    ):
        run_on_wires(job, load(config), FRESH, failures=failures)
    assert took[0] < GIVE_UP_S + 10.0


def test_a_part_that_works_is_waited_for_beside_dead_ones(config: Path) -> None:
    failures = (Failure(0.0, 1e6, "bus", "hold"),)
    outcome = session(load(config), None, failures=failures)
    by_name = {part.name: part.refused for part in outcome.parts}
    assert not by_name["bunk-co"]
    assert "stuck" in by_name["bunk-cell"], "its bus is, and that is said"


def test_emulated_spans_do_not_go_where_a_watch_would_use_them(
    config: Path, tmp_path: Path
) -> None:
    words = ["--emulated", "--state", str(tmp_path / "state")]
    code, out, err = called(config, *words, "--yes", YES)
    assert (code, out) == (2, "")
    assert "which would use calibrations of emulated sensors" in err
    assert called(config, *words, "--kept")[0] == 0
    assert called(config, *words, "--look")[0] == 0


def test_kept_and_undo_speak_of_the_same_parts(config: Path, tmp_path: Path) -> None:
    """Of the part that is named, of one of before, and of one that is gone."""
    folder = tmp_path / "kept"
    session(load(config), folder)
    own = ["--emulated", "--state", str(folder)]
    code, out, _ = called(config, *own, "--kept", "bunk-co")
    assert code == 0
    assert "bunk-co (frame9_co)" in out
    assert "bunk-cell" not in out
    code, _, err = called(config, *own, "--kept", "bunk-o3")
    assert (code, "the config has no sensor 'bunk-o3'" in err) == (2, True)
    code, _, err = called(config, *own, "--undo", "bunk-co", "bunk-cell")
    assert (code, "name no other" in err) == (2, True)
    text = config.read_text("utf-8")
    later = SpansFile(folder).load()[0].at.date() + timedelta(days=1)
    anew = text.replace(
        'kind = "frame9_co"\n', f'kind = "frame9_co"\nin_service = {later}\n', 1
    )
    config.write_text(anew, encoding="utf-8")
    assert "1 of them is of an earlier sensor" in called(config, *own, "--kept")[1]
    code, _, err = called(config, *own, "--undo", "bunk-co")
    assert code == 2
    assert "no calibration of bunk-co in --kept counts" in err
    config.write_text(text.replace("part.bunk-co]", "part.stern-co]"), encoding="utf-8")
    assert "no longer in the config" in called(config, *own, "--kept", "bunk-co")[1]
    code, _, err = called(config, *own, "--undo", "bunk-co")
    assert code == 2
    assert "has no sensor 'bunk-co': none of its calibrations" in err


def test_one_thing_at_a_time(config: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        called(config, "--kept", "--undo", "bunk-co")
    assert "not allowed with argument" in capsys.readouterr().err
