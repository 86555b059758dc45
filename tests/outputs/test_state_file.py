"""The state across restarts: cut at every system call, torn, newer, on a bad disk."""

import json
import os
import random
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cabinvigil.daemon.outputs import state_file
from cabinvigil.daemon.outputs.state_file import StateFile, StateSaver, down_for_s
from tests.outputs.hands import EVENING, HandClock, Told


@pytest.fixture(autouse=True)
def _quick_sync(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sync nothing: what is tested is when it is asked for, and what a cut leaves."""
    monkeypatch.setattr(os, "fsync", lambda fd: None)


def save(path: Path, body: dict[str, Any], number: int = 0) -> StateFile:
    file = StateFile(path)
    file.load(EVENING, 0.0)
    file.save(body, EVENING + timedelta(seconds=number), float(number))
    return file


def load(path: Path) -> Any:
    return StateFile(path).load(EVENING, 0.0)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "state.json"


def test_what_is_saved_comes_back(path: Path) -> None:
    assert load(path).body is None
    assert load(path).notes == ()
    save(path, {"version": 1, "alarms": {"o2-low": {"text": "tief"}}})
    kept = StateFile(path).load(EVENING + timedelta(seconds=9), 9.0)
    assert kept.body == {"version": 1, "alarms": {"o2-low": {"text": "tief"}}}
    assert kept.down_s == 9.0
    assert kept.notes == ()


def test_a_torn_file_falls_back_to_the_one_before_and_says_so(path: Path) -> None:
    """Whatever length is left of it, and whatever byte has changed."""
    save(path, {"n": 1})
    save(path, {"n": 2})
    whole = path.read_bytes()
    dice = random.Random(5)
    for cut in range(len(whole) - 2):
        path.write_bytes(whole[:cut])
        kept = load(path)
        assert kept.body == {"n": 1}
        assert "not whole" in kept.notes[0]
        assert "before" in kept.notes[1]
    for _ in range(300):
        changed = bytearray(whole)
        changed[dice.randrange(whole.index(b"\n") + 1, len(whole) - 1)] ^= 1
        path.write_bytes(changed)
        assert load(path).body == {"n": 1}
    path.write_bytes(whole)
    assert load(path).body == {"n": 2}


def test_any_bytes_at_all_never_raise(path: Path) -> None:
    dice = random.Random(6)
    save(path, {"n": 1})
    honest = path.read_bytes()
    for number in range(400):
        data = bytearray(honest) if number % 2 else bytearray(dice.randbytes(80))
        for _ in range(3):
            data[dice.randrange(len(data))] = dice.randrange(256)
        path.write_bytes(data)
        kept = load(path)
        assert isinstance(kept.body, dict) or kept.notes
    for data in (b"[" * 100_000, b"", b"\0" * 5_000, b'{"format":1}\n', b"null\n"):
        path.write_bytes(data)
        assert load(path).body is None


def test_a_newer_format_is_refused_with_a_sentence_and_kept(path: Path) -> None:
    """After a downgrade: nothing is taken over, and nothing is destroyed."""
    save(path, {"n": 1})
    save(path, {"n": 2})
    newer = path.read_bytes().replace(b'"format": 1', b'"format": 2')
    path.write_bytes(newer)
    kept = load(path)
    assert kept.body is None
    assert "newer version" in kept.notes[0]
    assert path.with_name("state.json.format2").read_bytes() == newer


def test_a_body_json_does_not_know_is_an_error_before_anything_is_touched(
    path: Path,
) -> None:
    file = save(path, {"n": 1})
    with pytest.raises(ValueError, match="JSON"):
        file.save({"n": float("nan")}, EVENING, 0.0)
    assert load(path).body == {"n": 1}


# --- how long it was down -------------------------------------------------------------


@pytest.mark.parametrize(
    ("saved", "saved_s", "now", "now_s", "down_s"),
    [
        # One boot: both clocks agree.
        (EVENING, 100.0, EVENING + timedelta(seconds=8), 108.0, 8.0),
        # After a boot with a right clock: the wall clock tells.
        (EVENING, 5_000.0, EVENING + timedelta(hours=1), 30.0, 3_600.0),
        # After a boot without network: the clock is behind, and cannot tell.
        (EVENING, 5_000.0, datetime(1970, 1, 1, 0, 1, tzinfo=UTC), 30.0, None),
        # Saved while the clock was still wrong, read after it was set: cannot tell.
        (datetime(1970, 1, 1, tzinfo=UTC), 50.0, EVENING, 20.0, None),
        # Both with the wrong clock, in one boot.
        (datetime(1970, 1, 1, tzinfo=UTC), 50.0,
         datetime(1970, 1, 1, 0, 0, 7, tzinfo=UTC), 57.0, 7.0),
        (None, 50.0, EVENING, 57.0, None),
    ],
)  # fmt: skip
def test_the_time_it_was_down_is_told_only_where_a_clock_can(
    saved: datetime | None, saved_s: float, now: datetime, now_s: float,
    down_s: float | None,
) -> None:  # fmt: skip
    assert down_for_s(saved, saved_s, now, now_s) == down_s


# --- cuts -----------------------------------------------------------------------------


class CutError(BaseException):
    """The power goes."""


class Disk:
    """Lets a number of system calls pass, then cuts; remembers what a cut may leave.

    What was not synced may be torn at any length, and a rename that the folder's sync
    did not follow may be undone: each such picture of the folder is one outcome.
    """

    CALLS = ("open", "write", "fsync", "replace", "close")

    def __init__(self, monkeypatch: pytest.MonkeyPatch, folder: Path) -> None:
        self.folder = folder
        self.left = 10**9
        self.calls = 0
        self.pictures: list[dict[str, bytes]] = [{}]
        self.unsynced: set[str] = set()
        self.names: dict[int, str] = {}
        for name in self.CALLS:
            self._wrap(monkeypatch, name, getattr(os, name))

    def _wrap(
        self, monkeypatch: pytest.MonkeyPatch, name: str, real: Callable[..., Any]
    ) -> None:
        def call(*args: Any, **kw: Any) -> Any:
            if name != "close":
                self.calls += 1
                if self.left <= 0:
                    raise CutError
                self.left -= 1
            got = real(*args, **kw)
            self._note(name, args, got)
            return got

        monkeypatch.setattr(os, name, call)

    def _note(self, name: str, args: tuple[Any, ...], got: Any) -> None:
        if name == "open" and str(args[0]).startswith(str(self.folder)):
            self.names[got] = Path(args[0]).name
        elif name == "write":
            self.unsynced.add(self.names[args[0]])
        elif name == "fsync":
            synced = self.names[args[0]]
            if synced == self.folder.name:
                self.pictures = []
            self.unsynced.discard(synced)
        elif name == "replace":
            source, target = Path(args[0]).name, Path(args[1]).name
            if source in self.unsynced:
                self.unsynced.add(target)
        self.pictures.append(
            {p.name: p.read_bytes() for p in self.folder.iterdir() if p.is_file()}
        )

    def outcomes(self, dice: random.Random) -> list[dict[str, bytes]]:
        """Give what may stand on the card after the cut."""
        out = []
        for picture in self.pictures:
            torn = dict(picture)
            for name in self.unsynced & torn.keys():
                torn[name] = torn[name][: dice.randrange(len(torn[name]) + 1)]
            out.append(torn)
        return out


def lay_out(folder: Path, files: dict[str, bytes]) -> None:
    for old in folder.iterdir():
        old.unlink()
    for name, data in files.items():
        (folder / name).write_bytes(data)


def test_no_cut_at_any_call_leaves_an_unreadable_or_older_state(
    tmp_path: Path,
) -> None:
    """Cut at each system call of four saves, with all that a cut may leave behind.

    What is read afterwards is the last save that had returned, or the one under way.
    """
    dice, cuts, outcomes = random.Random(4), 0, 0
    for left in range(200):
        folder = tmp_path / f"cut{left}"
        folder.mkdir()
        done = 0
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch, folder)
            disk.left = left
            file = StateFile(folder / "state.json")
            try:
                for number in range(1, 5):
                    file.save({"n": number}, EVENING, 0.0)
                    done = number
            except CutError:
                cuts += 1
        pictures = disk.outcomes(dice)
        for picture in pictures:
            lay_out(folder, picture)
            kept = load(folder / "state.json")
            outcomes += 1
            got = kept.body["n"] if kept.body else 0
            assert got in {done, done + 1}, (left, done, got, sorted(picture))
        if disk.left > 0:
            break
    assert cuts >= 25
    assert outcomes > cuts


def test_after_a_cut_the_next_save_is_newer(tmp_path: Path) -> None:
    """Numbers go on from what was found, so the newest is always known."""
    path = tmp_path / "state.json"
    for number in range(1, 6):
        file = StateFile(path)
        file.load(EVENING, 0.0)
        file.save({"n": number}, EVENING, 0.0)
        assert load(path).body == {"n": number}
        if number == 3:
            path.unlink()
            assert load(path).body == {"n": 2}


# --- the thread -----------------------------------------------------------------------


class QuickClock(HandClock):
    def monotonic(self) -> float:
        return time.perf_counter()


def wait_for(what: Callable[[], object]) -> None:
    until = time.perf_counter() + 10.0
    while not what():
        assert time.perf_counter() < until
        time.sleep(0.005)


def test_inline_every_change_is_saved_at_once(path: Path) -> None:
    keeper = StateSaver(StateFile(path), HandClock(), Told(), inline=True)
    keeper.start()
    keeper.offer(lambda: {"n": 1})
    assert load(path).body == {"n": 1}
    keeper.stop(1.0)


def test_on_its_thread_the_newest_is_saved(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(state_file, "REST_S", 0.02)
    told = Told()
    keeper = StateSaver(StateFile(path), QuickClock(), told)
    keeper.start()
    keeper.start()
    for number in range(200):
        keeper.offer(lambda number=number: {"n": number})  # type: ignore[misc]
    keeper.stop(5.0)
    assert load(path).body == {"n": 199}
    head = json.loads(path.read_bytes().splitlines()[0])
    assert head["number"] < 100, "older states were left out, not written one by one"
    assert told == []


def test_a_hung_or_full_disk_holds_up_nobody_and_is_told(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, release = os.fsync, threading.Event()
    monkeypatch.setattr(os, "fsync", lambda fd: (release.wait(10.0), real(fd))[1])
    told = Told()
    keeper = StateSaver(StateFile(path), QuickClock(), told)
    keeper.start()
    began = time.perf_counter()
    for number in range(1_000):
        keeper.offer(lambda number=number: {"n": number})  # type: ignore[misc]
    assert time.perf_counter() - began < 5.0
    release.set()
    keeper.stop(5.0)
    assert load(path).body == {"n": 999}
    monkeypatch.setattr(os, "fsync", real)

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    real_write = os.write
    monkeypatch.setattr(os, "write", full)
    keeper.start()
    keeper.offer(lambda: {"n": 1_000})
    wait_for(lambda: told.kinds() == ["not-writable"])
    assert load(path).body == {"n": 999}
    monkeypatch.setattr(os, "write", real_write)
    keeper.stop(5.0)
    assert load(path).body == {"n": 1_000}, "what waited for the disk is not lost"


def test_a_disk_that_hangs_is_told_and_its_end_too(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A restart would else forget an hour's acknowledgements, and nobody knew."""
    hung, release = threading.Event(), threading.Event()

    def hang(_fd: int) -> None:
        hung.set()
        release.wait(20.0)

    monkeypatch.setattr(os, "fsync", hang)
    clock, told = HandClock(), Told()
    clock.now_s = 10.0
    keeper = StateSaver(StateFile(path), clock, told)
    keeper.start()
    keeper.offer(lambda: {"n": 1})
    assert hung.wait(10.0)
    for now_s, kinds in ((40.0, []), (40.5, ["blocked"]), (99.0, ["blocked"])):
        clock.now_s = now_s
        keeper.offer(lambda: {"n": 2})
        assert told.kinds() == kinds
    assert str(path) in told[0].text  # type: ignore[union-attr]
    release.set()
    keeper.stop(10.0)
    assert told.kinds() == ["blocked", "ok"]
    assert load(path).body == {"n": 2}


def test_a_bug_does_not_end_the_keeping(path: Path) -> None:
    told = Told()
    keeper = StateSaver(StateFile(path), QuickClock(), told)
    keeper.start()
    keeper.offer(lambda: {"n": 1 // 0})
    wait_for(lambda: told.kinds() == ["late"])
    keeper.offer(lambda: {"n": 1})
    keeper.stop(5.0)
    assert load(path).body == {"n": 1}
    assert told.kinds() == ["late", "ok"]
