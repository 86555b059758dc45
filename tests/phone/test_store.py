"""The queue's file: across kills, full and broken disks, and clocks that step."""

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from cabinvigil.daemon.phone.rings import PhoneMessage
from cabinvigil.daemon.phone.silence import KeptSilence
from cabinvigil.daemon.phone.store import KEPT_S, MOST_WAITING, Store, StoreError
from tests.phone.texts import ENGLISH

NOW_S = 1_800_000_000.0


def ring(ident: str, urgency: int = 5) -> PhoneMessage:
    return PhoneMessage(ident, "lapwing", "Lapwing", f"Text {ident}.", urgency, 3600.0)


def to(*names: str) -> dict[str, bool]:
    """Addresses whose push has not begun."""
    return dict.fromkeys(names, False)


OPENED: list[Store] = []
"""Left open as by a kill while a test runs, and let go at its end."""


@pytest.fixture(autouse=True)
def _let_go() -> Iterator[None]:
    yield
    while OPENED:
        OPENED.pop().close()


def opened(folder: Path) -> Store:
    store = Store(folder)
    OPENED.append(store)
    store.open()
    return store


def waiting(store: Store, wall_s: float = NOW_S) -> list[tuple[str, str, int]]:
    return [(o.ring.id, o.recipient, o.tries) for o in store.waiting(wall_s)]


def test_what_waits_outlives_the_process(tmp_path: Path) -> None:
    store = opened(tmp_path)
    some = [(ring("a", 2), to("Ana", "Ben")), (ring("b"), to("Ana"))]
    assert store.add(some, NOW_S) == {"a", "b"}
    store.failed("a", "Ben", 3)
    store.delivered("a", "Ana")
    again = opened(tmp_path)  # the first was never closed: as after a kill
    assert waiting(again) == [("b", "Ana", 0), ("a", "Ben", 3)]
    assert again.waiting(NOW_S)[0].ring == ring("b")


def test_a_push_that_was_under_way_at_a_kill_is_perhaps_told(tmp_path: Path) -> None:
    """And no other: neither what was not begun, nor what the service refused."""
    store = opened(tmp_path)
    names = ("at once", "later", "refused", "no word", "waits")
    store.add([(ring("a"), to(*names) | {"at once": True})], NOW_S)
    for name in ("later", "refused", "no word"):
        store.begun("a", name)
    store.failed("a", "refused", 1)
    store.failed("a", "no word", 1, is_unsure=True)
    found = {o.recipient: o.ring for o in opened(tmp_path).waiting(NOW_S)}
    assert {name for name, one in found.items() if one.is_unsure} == {
        *("at once", "later", "no word"),
    }
    assert found["at once"].titled(ENGLISH) == "Lapwing (perhaps sent already)"
    assert found["waits"].titled(ENGLISH) == "Lapwing"


@pytest.mark.parametrize("layout", [1, 2])
def test_what_a_version_before_had_kept_is_taken_over(
    tmp_path: Path, layout: int
) -> None:
    """Its tables have some columns less; what waited in them is not lost."""
    store = opened(tmp_path)
    store.add([(ring("a"), to("Ana"))], NOW_S)
    store.keep_cabins({"lapwing": KeptSilence("silent", 100.0, 30.0, "r", 7)}, NOW_S)
    for column in ("told_at", "begun_at"):
        store._file.execute(f"ALTER TABLE cabin DROP COLUMN {column}")
    if layout == 1:
        store._file.execute("ALTER TABLE delivery DROP COLUMN begun")
    store._file.execute(f"PRAGMA user_version={layout}")
    store.close()
    again = opened(tmp_path)
    assert again.cabins(NOW_S)["lapwing"].told_age_s == 0.0
    assert (again.note, waiting(again)) == ("", [("a", "Ana", 0)])
    again.begun("a", "Ana")
    assert opened(tmp_path).waiting(NOW_S)[0].ring.is_unsure


def test_a_message_that_comes_again_is_known(tmp_path: Path) -> None:
    """Delivered or not: the broker sends what it was not told of."""
    store = opened(tmp_path)
    assert store.add([(ring("a"), to("Ana"))], NOW_S) == {"a"}
    assert store.add([(ring("a"), to("Ana"))], NOW_S) == set()
    store.delivered("a", "Ana")
    store = opened(tmp_path)
    assert store.add([(ring("a"), to("Ana"))], NOW_S) == set()
    assert waiting(store) == []
    store.tidy(NOW_S + KEPT_S + 1.0)
    assert store.add([(ring("a"), to("Ana"))], NOW_S + KEPT_S + 1.0) == {"a"}


@pytest.mark.parametrize(
    ("later_s", "left_s"),
    [(600.0, 3000.0), (-86400.0, 3600.0), (-NOW_S, 3600.0), (7200.0, -3600.0)],
)
def test_a_clock_that_stepped_back_makes_nothing_older(
    tmp_path: Path, later_s: float, left_s: float
) -> None:
    store = opened(tmp_path)
    store.add([(ring("a"), to("Ana"))], NOW_S)
    (one,) = store.waiting(NOW_S + later_s)
    assert one.left_s == left_s


def test_what_waits_is_bounded_and_the_gravest_stays(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.add([(ring("grave"), to("Ana"))], NOW_S - 100.0)
    notes = [(ring(f"n{number}", 2), to("Ana")) for number in range(MOST_WAITING + 50)]
    store.add(notes, NOW_S)
    assert store.tidy(NOW_S) == 51
    left = waiting(store)
    assert len(left) == MOST_WAITING
    assert left[0][0] == "grave"


def test_what_is_known_of_the_cabins_is_kept(tmp_path: Path) -> None:
    store = opened(tmp_path)
    kept = KeptSilence("silent", 100.0, 30.0, "r", 7, 5.0, 10.0)
    store.keep_cabins({"lapwing": kept}, NOW_S)
    found = opened(tmp_path).cabins(NOW_S + 50.0)
    assert found == {"lapwing": KeptSilence("silent", 150.0, 30.0, "r", 7, 55.0, 60.0)}


@pytest.mark.parametrize("bytes_", [b"no database" * 500, b""])
def test_a_broken_file_is_put_aside_and_said(tmp_path: Path, bytes_: bytes) -> None:
    (tmp_path / "queue.sqlite3").write_bytes(bytes_)
    store = opened(tmp_path)
    assert store.add([(ring("a"), to("Ana"))], NOW_S) == {"a"}
    assert ("was broken" in store.note) == bool(bytes_)
    assert (tmp_path / "queue.broken").exists() == bool(bytes_)


def test_a_file_torn_in_its_middle_is_put_aside(tmp_path: Path) -> None:
    store = opened(tmp_path)
    some = [(ring(f"{number:05}" * 20), to("Ana")) for number in range(500)]
    store.add(some, NOW_S)
    store.close()
    data = bytearray((tmp_path / "queue.sqlite3").read_bytes())
    data[4096 : len(data) - 4096] = b"\xa5" * (len(data) - 8192)
    (tmp_path / "queue.sqlite3").write_bytes(data)
    again = opened(tmp_path)
    assert "was broken" in again.note
    assert again.add([(ring("a"), to("Ana"))], NOW_S) == {"a"}


def test_a_folder_that_cannot_be_written_in_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("not a folder")
    with pytest.raises(StoreError, match=r"can be kept in .*; give that folder"):
        opened(tmp_path / "file")


def test_on_a_full_disk_nothing_is_half_kept(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store.add([(ring("a"), to("Ana"))], NOW_S)
    (pages,) = store._file.execute("PRAGMA page_count").fetchone()
    store._file.execute(f"PRAGMA max_page_count={pages}")
    big = PhoneMessage("big", "lapwing", "Lapwing", "x" * 200_000, 5, 60.0)
    with pytest.raises(sqlite3.OperationalError, match="full"):
        store.add([(ring("b"), to("Ana")), (big, to("Ana"))], NOW_S)
    assert waiting(store) == [("a", "Ana", 0)]
    store._file.execute("PRAGMA max_page_count=100000")
    assert store.add([(ring("b"), to("Ana"))], NOW_S) == {"b"}


@pytest.mark.skipif(os.geteuid() != 0, reason="a disk of one's own needs root")
@pytest.mark.parametrize("end", ["stopped", "killed"])
def test_a_disk_without_room_at_the_start_is_made_good_later(
    tmp_path: Path, end: str
) -> None:
    """What waited is read, what comes is held, and both are in the file afterwards."""
    disk = tmp_path / "disk"
    disk.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=200k", "t", disk], check=True)
    try:
        store = opened(tmp_path)
        store.add([(ring("a"), to("Ana")), (ring("b"), to("Ana"))], NOW_S)
        if end == "stopped":
            store.close()
        for file in tmp_path.glob("queue.*"):
            if not file.name.endswith("-shm"):  # gone with the machine that had it
                shutil.copy(file, disk)
        fill = (disk / "fill").open("wb", buffering=0)
        with pytest.raises(OSError, match="No space"):
            fill.write(bytes(1_000_000)) and fill.write(b"more")
        fill.close()
        store = opened(disk)
        assert store.no_room
        assert store.note == ""
        store.delivered("a", "Ana")
        assert store.add([(ring("c"), to("Ana"))], NOW_S) == {"c"}
        with pytest.raises(sqlite3.OperationalError):
            store.return_to_file()
        assert waiting(store) == [("b", "Ana", 0), ("c", "Ana", 0)]
        (disk / "fill").unlink()
        assert store.return_to_file()
        store.delivered("b", "Ana")
        assert store.no_room == ""
        store.close()
        store = opened(disk)
        assert waiting(store) == [("c", "Ana", 0)]
        store.close()
    finally:
        subprocess.run(["umount", "-l", disk], check=True)


def test_a_file_of_another_layout_is_put_aside(tmp_path: Path) -> None:
    store = opened(tmp_path)
    store._file.execute("PRAGMA user_version=9")
    store.close()
    assert "its layout is 9" in opened(tmp_path).note
    shutil.rmtree(tmp_path)
