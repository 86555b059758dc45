"""What every command's module offers, and the options that they share."""

import argparse
import importlib
import inspect
import io
import re
from pathlib import Path
from types import ModuleType

import pytest

from cabinvigil.daemon import cli
from cabinvigil.daemon.commands import base
from cabinvigil.daemon.commands.base import USUAL_CONFIG, CallError, check_range
from cabinvigil.daemon.phone.settings import USUAL_PHONE_CONFIG

DAEMON = Path(__file__).parents[2] / "daemon"
NAMED = {"show", "trial", "mark", "morning", "compare", "run", "log"}
"""Commands whose options hold the usual config's path where none is given."""


def module_of(word: str) -> ModuleType:
    return importlib.import_module(f"cabinvigil.daemon.{cli.COMMANDS[word][0]}")


def options(word: str) -> dict[str, argparse.Action]:
    actions = cli.parser_of(word)._actions
    return {name: action for action in actions for name in action.option_strings}


@pytest.mark.parametrize("word", cli.COMMANDS)
def test_each_module_offers_what_the_base_asks(word: str) -> None:
    """Help, examples, options, and a run whose other arguments may be left out."""
    module = module_of(word)
    assert (module.__doc__ or "").strip()
    assert module.EXAMPLE.strip()
    (parser,) = inspect.signature(module.add_arguments).parameters.values()
    assert parser.kind is parser.POSITIONAL_OR_KEYWORD
    args, out, err, *rest = inspect.signature(module.run).parameters.values()
    assert [one.default for one in (args, out, err)] == [inspect.Parameter.empty] * 3
    assert all(one.default is not inspect.Parameter.empty for one in rest)
    assert inspect.signature(module.run).return_annotation is int


@pytest.mark.parametrize("word", cli.COMMANDS)
def test_shared_options_are_the_bases(word: str) -> None:
    """One kind of value and one word for it, whatever the command."""
    has = options(word)
    if "--config" in has:
        config = has["--config"]
        assert (config.type, config.metavar) == (Path, "FILE")
        usual = {"phone": USUAL_PHONE_CONFIG, **dict.fromkeys(NAMED, USUAL_CONFIG)}
        assert config.default == usual.get(word)
    for name in ("--json", "--emulated"):
        if name in has:
            assert (has[name].nargs, has[name].default) == (0, False)
    if "--log" in has:
        assert has["--log"].type is Path


def test_the_usual_config_and_the_exit_codes_are_named_once() -> None:
    """No command has its own."""
    own_codes = re.compile(r"return -?\d\b|^[A-Z_, ]+ = \d(, \d)*$", re.MULTILINE)
    texts = {path: path.read_text(encoding="utf-8") for path in DAEMON.rglob("*.py")}
    named = [path for path, text in texts.items() if str(USUAL_CONFIG) in text]
    assert named == [DAEMON / "commands" / "base.py"]
    for path in (DAEMON / "commands").glob("*.py"):
        assert not own_codes.search(texts[path]), path.name


def test_no_command_prints_an_error_of_its_own() -> None:
    """They raise it; `cli.py` prints it.  The base prints notes, and nothing else."""
    for path in (DAEMON / "commands").glob("*.py"):
        printed = re.findall(r'"cabinvigil: ', path.read_text(encoding="utf-8"))
        assert len(printed) == (path.name == "base.py"), path.name


@pytest.mark.parametrize("value", [None, 1.0, 3.0, 60.0])
def test_a_number_within_its_bounds_is_taken(value: float | None) -> None:
    """Both bounds are within; what was not given is not asked about."""
    check_range("--minutes", value, 1.0, 60.0)


@pytest.mark.parametrize("value", [0.99, 60.01, float("nan"), float("-inf")])
def test_a_number_beyond_its_bounds_is_refused(value: float) -> None:
    """With the bounds, and what else there is to say."""
    with pytest.raises(CallError) as refused:
        check_range("--minutes", value, 1.0, 60.0, "; three do")
    assert str(refused.value) == "--minutes must lie between 1 and 60; three do"


def test_a_note_bears_the_programs_name() -> None:
    """As an error does."""
    err = io.StringIO()
    base.print_note("an older night", err)
    assert err.getvalue() == "cabinvigil: an older night\n"
