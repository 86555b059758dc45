"""The root of errors that end in a sentence, and which errors of the product do."""

import errno
import functools
import importlib
import io
import pkgutil
from types import ModuleType

import pytest

import cabinvigil.daemon
from cabinvigil.daemon import cli
from cabinvigil.daemon.ask.socket import AskError
from cabinvigil.daemon.outputs.mqtt.broker import BrokerError
from cabinvigil.daemon.outputs.signal.gpio import LineError
from cabinvigil.daemon.planning.figures import PlanError
from cabinvigil.daemon.sampling.bus_errors import BusStuckError
from cabinvigil.daemon.settings.errors import ConfigError, Mistake
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode

SENTENCES: dict[str, tuple[int, type[Exception]]] = {
    # name: (exit code, the type of Python's own that it is too)
    "AskError": (3, OSError),
    "BrokerError": (3, Exception),
    "BusError": (3, OSError),
    "CallError": (2, ValueError),
    "ConfigError": (2, ValueError),
    "DeviceError": (2, Exception),
    "DrawingError": (2, RuntimeError),
    "LineError": (3, OSError),
    "MachineError": (3, Exception),
    "MendError": (2, ValueError),
    "MissingExtraError": (3, Exception),
    "NightError": (2, ValueError),
    "NotConfirmedError": (1, Exception),
    "NotEmulatedError": (2, ValueError),
    "PageError": (3, Exception),
    "PhoneError": (3, Exception),
    "PlanError": (2, ValueError),
    "RecordingError": (2, ValueError),
    "RefusedError": (2, ValueError),
    "SessionError": (3, RuntimeError),
    "SpansError": (3, ValueError),
    "StoreError": (3, Exception),
    "UnansweredError": (2, Exception),
    "WatchRunsError": (3, RuntimeError),
}
INNER = {
    # name: what becomes of it, before a person reads anything
    "BadAddressError": "a mistake of the phone's config",
    "BadValueError": "a mistake of the config, with its key",
    "Nack": "an emulated part's silence",
    "NoSteadyStateError": "a night that settles nowhere",
    "NoTransitionError": "a bug: the table of an alarm's life has no such pair",
    "NoWordError": "a push that is not tried yet",
    "OverdueError": "the fault 'blocked' of a part",
    "RefusedPressError": "the page's answer to a press",
    "StalledError": "a bug: virtual time has nothing to wait for",
    "TooManyStepsError": "a fault of a part",
    "TypedError": "a sentence beside a replay: it begins without that state",
    "UnreadError": "a note of the state file: tried again",
    "UnitError": "a mistake of the config, or a sentence on an option",
    "UnknownRuleError": "a mistake of the config",
    "WholeStateError": "a sentence beside a replay: it begins without that state",
    "WrongAnswerError": "the question again",
    "_NewerError": "a note of the state file",
    "_NotMadeError": "the fault 'not-made' of the morning's account",
}


def _modules(package: ModuleType) -> list[ModuleType]:
    found = pkgutil.walk_packages(package.__path__, f"{package.__name__}.")
    names = [module.name for module in found if not module.name.endswith("__main__")]
    return [importlib.import_module(name) for name in names]


@functools.cache
def _own_errors() -> dict[str, type[Exception]]:
    return {
        name: value
        for module in _modules(cabinvigil.daemon)
        for name, value in vars(module).items()
        if isinstance(value, type)
        and issubclass(value, Exception)
        and value.__module__ == module.__name__
    }


def test_every_error_that_ends_in_a_sentence_derives_from_the_root() -> None:
    """A new one stands in one of the two tables; a kind of another need not."""
    own = dict(_own_errors())
    assert own.pop("CabinvigilError") is CabinvigilError
    first = {
        name
        for name, error in own.items()
        if not any(base.__name__ in own for base in error.__mro__[1:])
    }
    assert first == SENTENCES.keys() | INNER.keys()
    derived = {name for name in own if issubclass(own[name], CabinvigilError)}
    assert derived & first == SENTENCES.keys()


@pytest.mark.parametrize("name", SENTENCES)
def test_each_has_its_exit_code_and_stays_what_it_is_in_python(name: str) -> None:
    """`except ValueError` and `except OSError` catch what they did before."""
    error = _own_errors()[name]
    code, builtin = SENTENCES[name]
    assert issubclass(error, builtin)
    for each in (error, *error.__subclasses__()):
        assert issubclass(each, CabinvigilError)
        assert each.exit_code is ExitCode(code)


PLAIN = (
    (CabinvigilError("no night"), 2, "cabinvigil: no night\n"),
    (AskError(errno.ENOENT, "No watch listens"), 3, "cabinvigil: No watch listens\n"),
    (BusStuckError(errno.ETIMEDOUT, "it is stuck"), 3, "cabinvigil: it is stuck\n"),
    (LineError(0, "GPIO9 is in use"), 3, "cabinvigil: GPIO9 is in use\n"),
    (BrokerError("refused", "It refuses."), 3, "cabinvigil: It refuses.\n"),
    (PlanError(["a", "b"]), 2, "cabinvigil plan: a\ncabinvigil plan: b\n"),
    (
        ConfigError(
            [Mistake("f", "k", "is odd", "mend it"), Mistake("f", "", "a", "b")]
        ),
        2,
        "cabinvigil: f: k is odd; mend it.\nf a; b.\n",
    ),
)


@pytest.mark.parametrize(("error", "code", "printed"), PLAIN)
def test_it_becomes_a_sentence_and_an_exit_code(
    error: CabinvigilError, code: int, printed: str
) -> None:
    """The same for each: the program's name, and what it says."""

    def command() -> int:
        raise error

    err = io.StringIO()
    assert cli.exit_code_of(command, err) == code
    assert err.getvalue() == printed


def test_errors_of_the_machine_keep_their_number() -> None:
    """Whoever tries again looks at it."""
    assert AskError(errno.EACCES, "no").errno == errno.EACCES
    assert BusStuckError(errno.ETIMEDOUT, "no").errno == errno.ETIMEDOUT
    assert LineError(errno.EBUSY, "no").strerror == "no"


def test_a_mistake_of_the_program_is_no_sentence() -> None:
    """It goes on, with its traceback."""

    def command() -> int:
        raise ZeroDivisionError

    err = io.StringIO()
    with pytest.raises(ZeroDivisionError):
        cli.exit_code_of(command, err)
    assert err.getvalue() == ""
