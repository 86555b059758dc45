"""Mangled files through the commands that read them: a sentence, never a traceback."""

import gzip
import io
import json
import os
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.compose.from_settings import compose_settings
from cabinvigil.daemon.core.engine import start, step
from cabinvigil.daemon.core.model import Air
from cabinvigil.daemon.core.snapshot import restore, resume, to_plain
from cabinvigil.daemon.outputs.state_file import StateFile
from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.daemon.settings.words import renderer
from tests.fuzz.mangle import fuzz, mangled
from tests.review.logs import air, begin, line, still_air
from tests.running import CONFIG

WALL = datetime(2026, 1, 16, 23, tzinfo=UTC)
MANY_LINES = 400


def told(*words: str) -> tuple[int, str, str]:
    """Run a command; give its exit code and what it told."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main(words)
        except SystemExit as end:  # argparse ends so
            code = int(end.code or 0)
    return code, out.getvalue(), err.getvalue()


def check(code: int, out: str, err: str, *, lines: bool = False) -> None:
    """Exit codes are the four known ones; what is refused has its sentence."""
    assert code in (0, 1, 2, 3)
    assert "Traceback" not in out + err
    if code >= 2:
        said = (err or out).strip()
        assert said
        assert len(said.splitlines()) < MANY_LINES
        assert said.replace("\n", "").isprintable()
    for each in out.splitlines() if lines else ():
        json.loads(each, parse_constant=_no_constant)


def _no_constant(word: str) -> float:
    raise AssertionError(f"{word} is no JSON")


# --- config --------------------------------------------------------------------------

CONFIGS = (
    CONFIG.format(folder="/run/cabinvigil", group="root", more="").encode(),
    (
        b'[cabin]\nname = "lapwing"\nvolume_m3 = 11.0\n[part.co]\nkind = "frame9_co"\n'
        b'port = "/dev/ttyUSB0"\n[alarm.co-level]\ndead_band = 5.0\n'
        b'steps = [{ at = 30.0, priority = "low" }, { at = 99.0, priority = "high" }]\n'
    ),
    packaged("cabin.toml").read_bytes(),
)


@fuzz(150)
@given(mangled(CONFIGS))
def test_a_mangled_config_is_read_or_refused(tmp_path: Path, data: bytes) -> None:
    """Every mistake is a sentence; nothing else comes out."""
    path = tmp_path / "cabin.toml"
    path.write_bytes(data)
    check(*told("config", str(path)))
    code, out, _ = told("config", str(path), "--json")
    check(code, out, "see JSON")
    if out:
        json.loads(out, parse_constant=_no_constant)


# --- logs ----------------------------------------------------------------------------

ALARM = line(
    "alarm", 300.0, alarm="co-level", state="unacknowledged", was="normal",
    priority="high", text="Carbon monoxide 300 ppm.", since_s=300.0, first_up=True,
    evidence={"co_ppm": 300.0},
)  # fmt: skip
LOG = b"".join(
    (
        begin(),
        air(still_air(0.0, 300.0)),
        ALARM,
        line("act", 310.0, act="acknowledge", by="phone", for_s=0.0),
        line("mark", 320.0, text="roof vent open 2 cm", by="socket"),
        line("mark", 325.0, text="red \x1b[31m\r\x07", by="phone"),
        line("fault", 330.0, source="bunk-co", kind="absent", text="silent"),
        line("estimate", 340.0, o2_rate_pct_per_h=[-0.1, 0.0, 0.1]),
        air(still_air(350.0, 500.0)),
        line("stop", 510.0, reason="stopped on request"),
    )
)
PACKED = gzip.compress(LOG[:5000], mtime=0) + gzip.compress(LOG[5000:], mtime=0)


@fuzz(60)
@given(mangled((LOG,)), st.booleans())
def test_a_mangled_log_is_replayed_as_far_as_it_goes(
    tmp_path: Path, data: bytes, with_config: bool
) -> None:
    """What cannot be read is left out; the rest is decided on."""
    path = tmp_path / "night-2026-01-16.jsonl"
    path.write_bytes(data)
    (tmp_path / "cabin.toml").write_bytes(CONFIGS[0])
    more = ("--config", str(tmp_path / "cabin.toml")) if with_config else ()
    check(*told("replay", str(path), "--json", "--estimates", *more), lines=True)


@fuzz(60)
@given(mangled((LOG, PACKED)))
def test_a_mangled_log_has_its_morning(tmp_path: Path, data: bytes) -> None:
    """The morning tells what it could read, and of what it could not."""
    ending = ".gz" if data[:2] == b"\x1f\x8b" else ""
    path = tmp_path / f"night-2026-01-16.jsonl{ending}"
    path.write_bytes(data)
    code, out, err = told("morning", str(path))
    check(code, out, err)
    assert "\x1b" not in out
    code, out, err = told("morning", str(path), "--json")
    check(code, out, err, lines=False)
    if code < 2:
        json.loads(out, parse_constant=_no_constant)


# --- CSV -----------------------------------------------------------------------------

CSV = b"time_s,o2_pct,co2_ppm,co_ppm,temp_c_outside\n" + b"".join(
    b"%d,%.2f,%d,,%d\n" % (t, 20.7 - t / 2000.0, 800 + t, -9)
    for t in range(0, 900, 30)
)  # fmt: skip


@fuzz(60)
@given(mangled((CSV, CSV.replace(b"\n", b"\r\n"), b"\xef\xbb\xbf" + CSV)))
def test_a_mangled_csv_is_replayed_or_refused(tmp_path: Path, data: bytes) -> None:
    """Numbers that cannot be are faults, text where a number belongs is told."""
    path = tmp_path / "lapwing.csv"
    path.write_bytes(data)
    check(*told("replay", str(path), "--json", "--estimates"), lines=True)


# --- state ---------------------------------------------------------------------------

SETUP = compose_settings(example(), renderer("en")).setup


def _kept() -> dict[str, Any]:
    state = start(SETUP, 0.0)
    for second in range(0, 60, 5):
        gas = {key: 400.0 for key in SETUP.layout.series if key.startswith("co_ppm")}
        state, _ = step(state, Air(gas), float(second))
    return to_plain(state)


KEPT = _kept()
RINGING = {alarm for alarm in KEPT["alarms"] if alarm.startswith("co-level")}


def _state_file(folder: Path) -> bytes:
    StateFile(folder / "state").save(KEPT, WALL, 1.0)
    return (folder / "state").read_bytes()


@fuzz(60)
@given(data=st.data())
def test_a_mangled_state_never_silences_what_rang(
    tmp_path: Path, data: st.DataObject
) -> None:
    """The sum finds any change: all of it comes back, or nothing and a note."""
    assert RINGING
    whole = _state_file(tmp_path)
    (tmp_path / "state").write_bytes(data.draw(mangled((whole,))))
    (tmp_path / "state.before").unlink(missing_ok=True)
    kept = StateFile(tmp_path / "state").load(WALL, 2.0)
    if kept.body is None:
        assert kept.notes
        return
    state, _ = restore(SETUP, kept.body, 0.0, down_s=kept.down_s)
    resume(state, 0.0)
    assert all(state.standings[alarm].stands for alarm in RINGING)


@fuzz(60)
@given(mangled((json.dumps(KEPT).encode(),)))
def test_a_state_that_lies_is_taken_on_the_safe_side(data: bytes) -> None:
    """A body of any shape gives a state that goes on, with every alarm there is."""
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        return
    state, _ = restore(SETUP, body, 0.0, down_s=1.0)
    resume(state, 0.0)
    state, _ = step(state, Air({}), 1.0)
    assert state.standings.keys() == {spec.id for spec in SETUP.alarms}
    json.dumps(to_plain(state), allow_nan=False)


# --- names of files ------------------------------------------------------------------

NAMES = (
    st.binary(min_size=1, max_size=300)
    .map(lambda name: name.replace(b"/", b"\x1b").replace(b"\x00", b"\n"))
    .map(os.fsdecode)
)
"""As the kernel has them: any bytes but two."""


@fuzz(25)
@given(NAMES, st.sampled_from(("config", "replay", "morning", "compare")))
def test_a_file_of_any_name_that_is_not_there_is_told(
    tmp_path: Path, name: str, command: str
) -> None:
    """Line breaks, escapes and lone surrogates in a name are told, not obeyed."""
    code, out, err = told(command, str(tmp_path / "none" / name))
    check(code, out, err)
    assert code == 2
