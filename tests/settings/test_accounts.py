"""What a user is told who may not read a file: the right user, and a way that works."""

import io
import os
import re
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from cabinvigil.daemon import cli
from cabinvigil.daemon.commands import parts
from cabinvigil.daemon.outputs.mqtt.broker import Broker, BrokerError, read_password
from cabinvigil.daemon.settings.accounts import (
    Account,
    account_of,
    remedy_where_closed,
    running,
    user_name,
)
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.settings.read import read_bytes

NOBODY, GAMES = account_of("nobody"), account_of("games")  # Debian's (base-passwd)

as_root = pytest.mark.skipif(os.geteuid() != 0, reason="becomes other users")


@contextmanager
def being(who: Account | None) -> Iterator[Account]:
    """Act as another user, as `sudo -u` does."""
    assert who is not None
    groups = os.getgroups()
    os.setgroups(sorted(who.groups))
    os.setegid(min(who.groups))
    os.seteuid(who.uid)
    try:
        yield who
    finally:
        os.seteuid(0)
        os.setegid(0)
        os.setgroups(groups)


@pytest.fixture
def open_path() -> Iterator[Path]:
    """A folder that every user may enter; pytest's own lie in a closed one."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder)
        path.chmod(0o755)
        yield path


def refusal(path: Path) -> str:
    with pytest.raises(BrokerError) as found:
        read_password(Broker("localhost", 1883, "one", password_file=str(path)))
    return found.value.text


def obey(told: str) -> None:
    """Carry out, as root, each command that a sentence names."""
    for command in re.findall(r"`sudo (ch[^`]*)`", told):
        subprocess.run(command.split(), check=True)


@as_root
def test_a_password_is_given_to_the_user_that_really_runs(open_path: Path) -> None:
    """Root's own, as an editor leaves it: what is told mends it, for either service."""
    path = open_path / "password"
    for one in (NOBODY, GAMES):
        path.write_text("secret\n")
        os.chown(path, 0, 0)
        path.chmod(0o600)
        with being(one) as who:
            told = refusal(path)
        assert f"chown {who.name}:" in told
        obey(told)
        with being(one):
            broker = Broker("localhost", 1883, "one", password_file=str(path))
            assert read_password(broker) == "secret"


@as_root
def test_another_services_password_is_not_to_be_given_away(open_path: Path) -> None:
    """The phone's end is given a file of its own, and the watch keeps its."""
    path = open_path / "password"
    path.write_text("secret\n")
    assert GAMES is not None
    os.chown(path, GAMES.uid, 0)
    path.chmod(0o400)
    with being(NOBODY):
        told = refusal(path)
    assert "sudo -u games" in told
    assert "a file of the user nobody's own" in told
    assert "chown" not in told


@as_root
def test_a_namespace_that_hides_the_owner_names_nobody(open_path: Path) -> None:
    """Under the phone unit's PrivateUsers each other user looks like `nobody`."""
    path = open_path / "password"
    path.write_text("secret\n")
    assert NOBODY is not None
    os.chown(path, NOBODY.uid, min(NOBODY.groups))
    path.chmod(0o400)
    with being(GAMES):
        told = refusal(path)
    assert "nobody" not in told
    assert "name a file of the user games's own" in told


@as_root
def test_a_config_made_for_one_user_names_that_user(open_path: Path) -> None:
    """The phone's, in a folder that is the watch's: not `sudo -u` of the watch."""
    folder = open_path / "config"
    folder.mkdir()
    folder.chmod(0o700)
    with being(NOBODY), pytest.raises(ConfigError) as found:
        read_bytes(folder / "phone.toml", "phone.toml", reader="games")
    assert "run this by `sudo -u games`" in str(found.value.mistakes[0])


def test_a_password_that_is_not_there_is_made_for_who_runs(tmp_path: Path) -> None:
    me = user_name(os.geteuid())
    assert f"chown {me}:root {tmp_path}/none" in refusal(tmp_path / "none")


@as_root
def test_a_closed_folder_is_named_and_not_the_file_in_it(open_path: Path) -> None:
    """Who forgets `sudo -u`: the file's own mode is open, the folder's is not."""
    folder = open_path / "config"
    folder.mkdir()
    path = folder / "cabin.toml"
    path.write_text("")
    assert GAMES is not None
    os.chown(folder, 0, min(GAMES.groups))
    folder.chmod(0o750)
    with being(NOBODY), pytest.raises(ConfigError) as found:
        read_bytes(path, str(path))
    told = str(found.value.mistakes[0])
    assert "may not be read by the user nobody" in told
    assert "sudo -u games" in told
    assert re.search(r"usermod -aG games nobody", told)


@as_root
def test_a_file_of_roots_own_is_opened_by_what_is_told(open_path: Path) -> None:
    path = open_path / "cabin.toml"
    path.write_text("text")
    path.chmod(0o600)
    with being(GAMES):
        told = remedy_where_closed(path)
    obey(told)
    with being(GAMES):
        assert read_bytes(path, "cabin.toml") == b"text"


@as_root
def test_a_scan_by_a_user_of_no_group_ends_in_a_sentence(
    open_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It had ended in a traceback, since it may not even look for the config."""
    folder = open_path / "config"
    folder.mkdir()
    folder.chmod(0o700)
    monkeypatch.setattr(parts, "USUAL_CONFIG", folder / "cabin.toml")
    err = io.StringIO()
    with being(NOBODY):
        args = cli.parser_of("parts").parse_args(["--scan"])
        assert parts._settings(args, err) is None
    assert "may not be read by the user nobody" in err.getvalue()


@as_root
def test_what_nobody_foresaw_to_be_closed_ends_in_a_sentence_too(
    open_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = open_path / "nights"
    folder.mkdir()
    folder.chmod(0o700)
    with being(NOBODY):
        assert cli.main(["morning", str(folder / "night.jsonl")]) != 0
    told = capsys.readouterr().err
    assert "may not be opened by the user nobody" in told
    assert str(folder) in told


@as_root
def test_a_closed_folder_of_nights_is_not_an_empty_one(
    open_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever has joined the group, and not logged in anew."""
    folder = open_path / "nights"
    folder.mkdir()
    assert GAMES is not None
    os.chown(folder, GAMES.uid, min(GAMES.groups))
    folder.chmod(0o750)
    with being(NOBODY):
        assert cli.main(["morning", str(folder)]) != 0
    told = capsys.readouterr().err
    assert "holds no night" not in told
    assert "run this by `sudo -u games`, or join its group" in told


@as_root
def test_nobody_is_told_to_open_roots_home(open_path: Path) -> None:
    """For one file in it: whoever typed a path of root's."""
    folder = open_path / "root"
    folder.mkdir()
    folder.chmod(0o700)
    for path in (folder / "cabin.toml", folder):
        with being(GAMES):
            told = remedy_where_closed(path)
        assert told == "copy it to where the user games may read it"


@as_root
def test_root_asks_for_another_by_the_files_own_mode(open_path: Path) -> None:
    """Owner, group and others, as the kernel would say to that user itself."""
    path = open_path / "file"
    path.write_text("")
    assert NOBODY is not None
    assert GAMES is not None
    for owner, group, mode in (
        (GAMES.uid, 0, 0o400), (0, min(GAMES.groups), 0o060), (0, 0, 0o604),
        (GAMES.uid, 0, 0o044), (0, min(GAMES.groups), 0o004), (0, 0, 0o660),
    ):  # fmt: skip
        os.chown(path, owner, group)
        path.chmod(mode)
        for how in (os.R_OK, os.W_OK, os.R_OK | os.W_OK):
            for one in (GAMES, NOBODY):
                with being(one):
                    is_so = running().may(str(path), how)
                assert one.may(str(path), how) is is_so, (oct(mode), how, one.name)
