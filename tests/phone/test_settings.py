"""phone.toml: the example is good, and every mistake is one sentence, all at once."""

import re
import subprocess
import sys
from dataclasses import fields, replace
from pathlib import Path

import pytest

from cabinvigil.daemon.cli import main
from cabinvigil.daemon.outputs.mqtt.broker import Broker
from cabinvigil.daemon.phone.settings import (
    address_of,
    is_loopback,
    links_of,
    load_phone,
    texts_of,
)
from cabinvigil.daemon.settings.errors import ConfigError
from cabinvigil.daemon.settings.registries import packaged

EXAMPLE = Path(__file__).parents[2] / "config" / "phone.toml"
GOOD = """
cabins = ["lapwing"]
ping_url = "https://deadman.example.org/x"
[broker]
host = "localhost"
[[to]]
name = "Ana"
address = "ntfy://localhost/lapwing"
[page]
listen = "127.0.0.1:8484"
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "phone.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_is_good_and_so_is_all_that_it_has_commented_out(
    tmp_path: Path,
) -> None:
    """A line that begins with `# ` and a key or a table is one to be uncommented."""
    text = EXAMPLE.read_text("utf-8")
    settings = load_phone(EXAMPLE)
    assert settings.page is not None
    assert settings.page.is_local, "off the loopback only where told so"
    assert not settings.page.may_answer
    keys = ("[[", *(f"{key} =" for key in KEYS))
    lines = [
        line.removeprefix("# ")
        if line.startswith("# ") and line[2:].startswith(keys)
        else line
        for line in text.splitlines()
    ]
    whole = load_phone(written(tmp_path, "\n".join(lines)))
    assert len(whole.to) == 2
    assert whole.to[1].second
    assert whole.page is not None
    assert links_of(whole.page) == ("https://lapwing.local:8484/",)
    for key in KEYS:
        assert f"{key} = " in text, f"the example shows {key}"


KEYS = {
    *("cabins", "only_these", "ping_url", "state_folder", "host", "port", "tls"),
    *("ca_file", "user"),
    *("password_file", "client_id", "name", "address", "address_file", "from"),
    *("quiet", "second", "listen", "hosts", "https", "open_to_read", "may_answer"),
    *("token_file", "phone_number", "language"),
}


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('host = "localhost"', "", "broker.host", "is missing; add `host = ...`"),
        ('host = "localhost"', 'host = "mqtt://x"', "broker.host", "without mqtt://"),
        ('name = "Ana"', 'name = "Ana"\nfrom = "loud"', "to[0].from", "high, medium"),
        ('name = "Ana"', 'name = "Ana"\nform = "high"', "to[0].form", "write `from`"),
        ('name = "Ana"', 'name = "Ana"\nquiet = "10-7"', "to[0].quiet", "22:00-07:00"),
        (
            'name = "Ana"',
            'name = "Ana"\nquiet = "22:00-24:00"',
            "to[0].quiet",
            "not a part of a day",
        ),
        (
            'name = "Ana"',
            'name = "Ana"\nquiet = "07:00-07:00"',
            "to[0].quiet",
            'leave it out for never; for all day write from = "high" instead',
        ),
        ('name = "Ana"', 'name = "Ana"\nsecond = true', "to", "are all second"),
        ("address =", "addres =", "to[0].addres", "write `address`"),
        ("[[to]]", '[[to]]\naddress_file = "/x"', "to[0]", "give one of the two"),
        ('["lapwing"]', '["Lap wing"]', "cabins[0]", "small letters"),
        ("https://deadman", "deadman", "ping_url", "beginning with https://"),
        ("example.org/x", "example.org:99999/x", "ping_url", "not a web address"),
        ("127.0.0.1:8484", "0.0.0.0:8484", "page.hosts", "reached from outside"),
        ("127.0.0.1:8484", "127.0.0.1", "page.listen", 'like "127.0.0.1:8484"'),
        ('cabins = ["lapwing"]', "only_these = true", "only_these", "name `cabins`"),
        ("cabins", 'language = "gr"\ncabins', "language", "own with `words`"),
        ("[broker]", "[brokr]", "brokr", "write `broker`"),
        ("[page]", "[page]\nopen_to_reed = true", "page.open_to_reed", "open_to_read"),
    ],
)
def test_a_mistake_is_a_sentence(
    tmp_path: Path, old: str, new: str, key: str, words: str
) -> None:
    assert old in GOOD
    path = written(tmp_path, GOOD.replace(old, new, 1))
    with pytest.raises(ConfigError) as caught:
        load_phone(path)
    told = [str(one) for one in caught.value.mistakes if one.key == key]
    assert told, [str(one) for one in caught.value.mistakes]
    assert words in told[0]
    assert told[0].startswith(f"{path}: ")


def test_words_of_ones_own_lie_beside_the_config(tmp_path: Path) -> None:
    """Of what this process says itself; what they lack is said in English."""
    text = packaged("words_de.toml").read_text("utf-8").replace('"de"', '"gsw"', 1)
    text = re.sub(r"(?m)^reachable = .*$", 'reachable = "{name} isch wider do."', text)
    text = re.sub(r"(?m)^test = .*$\n", "", text, count=1)
    (tmp_path / "own.toml").write_text(text, encoding="utf-8")
    own = 'language = "gsw"\nwords = "own.toml"\n'
    texts = texts_of(load_phone(written(tmp_path, own + GOOD)))
    assert texts("reachable", name="Ana") == "Ana isch wider do."
    assert texts("test").startswith("A test from cabinvigil phone")
    bad = text.replace('\nreachable = "{name} ', '\nreachable = "{nmae} ')
    (tmp_path / "own.toml").write_text(bad, encoding="utf-8")
    with pytest.raises(ConfigError, match=r"silence\.reachable is .*\{name\}"):
        load_phone(written(tmp_path, own + GOOD))


def test_all_mistakes_are_told_at_once(tmp_path: Path) -> None:
    text = GOOD.replace('"localhost"', "7", 1).replace("name", "nmae", 1) + "x = 1\n"
    with pytest.raises(ConfigError) as caught:
        load_phone(written(tmp_path, text))
    keys = {one.key for one in caught.value.mistakes}
    assert {"broker.host", "to[0].name", "to[0].nmae", "page.x"} <= keys


def test_readmes_phone_toml_is_good(tmp_path: Path) -> None:
    page = (EXAMPLE.parents[1] / "README.md").read_text("utf-8")
    block = page.split("<!-- phone.toml -->\n```toml\n")[1].split("```")[0]
    settings = load_phone(written(tmp_path, block))
    assert settings.page is not None
    assert settings.broker.as_broker().where == "localhost:1883", "as Debian's own"
    # Whoever follows the page is not root: nothing is kept where only root may write.
    kept = (Path(settings.state_folder), settings.token_path)
    assert [str(path) for path in kept] == [
        "/tmp/cabinvigil-phone",
        "/tmp/cabinvigil-phone/devices.json",
    ]


def test_devices_are_kept_where_the_config_says(tmp_path: Path) -> None:
    assert str(load_phone(EXAMPLE).token_path) == (
        "/var/lib/cabinvigil-phone/devices.json"
    )
    text = GOOD.replace("[page]", '[page]\ntoken_file = "/x/y"')
    assert str(load_phone(written(tmp_path, text)).token_path) == "/x/y"


def test_nothing_to_do_is_a_mistake(tmp_path: Path) -> None:
    with pytest.raises(ConfigError, match="neither an address nor a page"):
        load_phone(written(tmp_path, '[broker]\nhost = "localhost"\n'))


def test_an_address_may_stand_in_a_file_of_its_own(tmp_path: Path) -> None:
    secret = tmp_path / "ana"
    secret.write_text("ntfy://token@localhost/lapwing\n")
    text = GOOD.replace(
        'address = "ntfy://localhost/lapwing"', f'address_file = "{secret}"'
    )
    (ana,) = load_phone(written(tmp_path, text)).to
    assert address_of(ana) == "ntfy://token@localhost/lapwing"
    secret.write_text("two\nlines")
    with pytest.raises(ConfigError, match="holds no address; write one line"):
        address_of(ana)
    secret.unlink()
    with pytest.raises(ConfigError, match="is not there"):
        address_of(ana)


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ("apprise", ["--test"]),
        ("apprise", ["--check"]),
        ("segno", ["--check"]),
        ("segno", ["--pair", "Ana"]),
        ("aiohttp", []),
    ],
)
def test_a_library_that_was_left_out_ends_in_a_sentence(
    tmp_path: Path, missing: str, words: list[str]
) -> None:
    """Each of the three alone, as apt puts them in one by one."""
    path = written(tmp_path, GOOD)
    call = (
        f"import sys; sys.modules[{missing!r}] = None; "
        "from cabinvigil.daemon.cli import main; "
        f"sys.exit(main(['phone', '--config', {str(path)!r}, *{words!r}]))"
    )
    ended = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", call],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert ended.returncode == 3, ended.stderr
    assert ended.stderr.count("\n") == 1
    assert f"({missing} is missing)" in ended.stderr
    assert "install" in ended.stderr


@pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")
def test_an_address_that_nobody_knows_ends_the_command_with_a_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = GOOD.replace("ntfy://localhost", "pigeon://localhost")
    assert main(["phone", "--check", "--config", str(written(tmp_path, text))]) == 2
    said = capsys.readouterr().err
    assert said.startswith("cabinvigil: the address of Ana cannot be used")
    assert said.count("\n") == 1
    assert "pigeon" not in said, "an address is a secret"


@pytest.mark.parametrize(
    ("host", "is_near"),
    [("127.0.0.1", True), ("::1", True), ("localhost", True), ("0.0.0.0", False),
     ("192.168.4.1", False), ("::", False), ("lapwing.local", False)],
)  # fmt: skip
def test_what_is_reached_from_outside_is_known(host: str, is_near: bool) -> None:
    assert is_loopback(host) == is_near


def test_its_broker_speaks_of_no_sounder(tmp_path: Path) -> None:
    """The watch's comfort is the watch's: nothing sounds where this process runs."""
    broker = load_phone(written(tmp_path, GOOD)).broker.as_broker()
    assert broker.unreachable("why").text == (
        "The broker at localhost:8883 is out of reach (why): check the network."
    )
    assert broker.silent().text.endswith("does not respond: check the broker.")
    (usual,) = (one.default for one in fields(Broker) if one.name == "meanwhile")
    of_the_watch = replace(broker, meanwhile=usual)
    for error in (of_the_watch.unreachable("why"), of_the_watch.silent()):
        assert ": the sounder still works, messages wait; check the " in error.text
