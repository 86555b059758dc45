"""The way to the broker: address, password, certificates, and what stands against it.

A password file that others can read is refused, and a certificate is always checked
unless TLS is switched off as a whole.
"""

import ssl
import stat
from dataclasses import dataclass
from pathlib import Path
from random import Random

from cabinvigil.daemon.settings.accounts import give_away, remedy_where_closed
from cabinvigil.daemon.settings.ca_certificate import REMEDY, STRICT_CODES
from cabinvigil.daemon.settings.values import OPEN_TO_OTHERS
from cabinvigil.daemon.text.errors import CabinvigilError, ExitCode
from cabinvigil.daemon.text.sentences import ended

LONGEST_PASSWORD = 1024
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 45.0
"""Back-off doubles between these: our choice, seldom enough for a network that
does not come back; one that does is used, and its fault over, within a minute."""
QUICK_WAIT_S, QUICK_FOR_S = 1.0, 180.0
"""For the first minutes no wait is longer: a network that is away for two heartbeats
must be used again within the three seconds that are left before whoever listens tells
a silence (phone/silence), and one that waits longer is told anyway."""
STEADY_S = 30.0
"""A connection that held for so long begins the back-off again."""


class BrokerError(CabinvigilError):
    """The broker cannot be had or has gone; `kind` as in `SourceFault`."""

    exit_code = ExitCode.MACHINE_FAILED

    def __init__(
        self,
        kind: str,
        text: str,
        *,
        is_version: bool = False,
        is_hang_up: bool = False,
    ) -> None:
        super().__init__(text)
        self.kind = kind
        self.text = text
        self.is_version = is_version
        """The broker does not know this version of MQTT."""
        self.is_hang_up = is_hang_up
        """It ended the connection without a word: some do so for a version, too."""


@dataclass(frozen=True, slots=True)
class Broker:
    """Where the broker is, and how to prove who we are."""

    host: str
    port: int
    client_id: str
    tls: bool = True
    ca_file: str = ""
    """The certificate that vouches for the broker; '' is the system's own."""
    user: str = ""
    password_file: str = ""
    keepalive_s: int = 15
    connect_s: float = 5.0
    """For the connection and the TLS handshake, each."""
    answer_s: float = 10.0
    """For the broker's word on a connection or a message."""
    meanwhile: str = "the sounder still works, messages wait; "
    """What is said beside a broker that is gone; '' where none of it is ours."""

    @property
    def where(self) -> str:
        """Format the address for people."""
        return f"{self.host}:{self.port}"

    def unreachable(self, why: str) -> BrokerError:
        """Say that the network does not lead there."""
        return BrokerError(
            "out-of-reach",
            f"The broker at {self.where} is out of reach ({why}): "
            f"{self.meanwhile}check the network.",
        )

    def silent(self) -> BrokerError:
        """Say that something listens there and does not respond."""
        return BrokerError(
            "out-of-reach",
            f"The broker at {self.where} accepts the connection and does not respond: "
            f"{self.meanwhile}check the broker.",
        )

    def refused(self, why: str) -> BrokerError:
        """Say that the broker does not let us in."""
        text = ended(f"The broker at {self.where} refuses: {why}")
        return BrokerError("refused", text)


def _remedy(path: Path, error: OSError) -> str:
    # The monitor reads one, the phone's end another: whoever runs this is the reader.
    if isinstance(error, FileNotFoundError):
        return f"put the password there, alone on one line, then {give_away(path)}"
    return remedy_where_closed(path, is_secret=True)


def read_password(broker: Broker) -> str | None:
    """Read the password; None where none is configured.

    Raises:
        BrokerError: the file cannot be read, is not a password, or is open to others.
    """
    if not broker.password_file:
        return None
    path = Path(broker.password_file)
    try:
        with path.open("rb") as file:
            mode = stat.S_IMODE(path.stat().st_mode)
            data = file.read(LONGEST_PASSWORD + 1)
        text = data.decode("utf-8").rstrip("\r\n")
    except OSError as error:
        raise broker.refused(
            f"the password file {path} cannot be read ({error.strerror}); "
            f"{_remedy(path, error)}"
        ) from error
    except UnicodeDecodeError as error:
        raise broker.refused(f"the password file {path} is not UTF-8") from error
    if mode & OPEN_TO_OTHERS:
        raise broker.refused(
            f"the password file {path} is open to others (mode {mode:04o}); "
            f"run `chmod 640 {path}`"
        )
    if not text or len(data) > LONGEST_PASSWORD or "\n" in text:
        raise broker.refused(
            f"the password file {path} must hold one line of 1 to "
            f"{LONGEST_PASSWORD} bytes"
        )
    return text


class _TlsSocket(ssl.SSLSocket):
    """Closes itself when the handshake fails: its owner then knows it no more."""

    def do_handshake(self, block: bool = False) -> None:
        """Shake hands, or close."""
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def tls_context(broker: Broker) -> ssl.SSLContext | None:
    """Make the TLS side, which checks certificate and host name; None without TLS.

    Raises:
        BrokerError: the CA file cannot be used.
    """
    if not broker.tls:
        return None
    try:
        context = ssl.create_default_context(cafile=broker.ca_file or None)
    except (OSError, ssl.SSLError) as error:
        raise broker.refused(
            f"the CA file {broker.ca_file} cannot be used ({error.strerror}); it must "
            f"hold the certificate that signed the broker's, in PEM"
        ) from error
    context.sslsocket_class = _TlsSocket
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context


def connect_error(broker: Broker, error: Exception) -> BrokerError:
    """Put what the network or TLS said into one sentence."""
    match error:
        case ssl.SSLCertVerificationError() if error.verify_code in STRICT_CODES:
            return broker.refused(
                f"its certificate fails the strict check of Python 3.13 and later "
                f"({error.verify_message}); where that is of its authority, {REMEDY}"
            )
        case ssl.SSLCertVerificationError():
            return broker.refused(
                f"its certificate does not hold ({error.verify_message}); set ca_file "
                f"to the one that signed it, and host to the name in it"
            )
        case ssl.SSLError():
            reason = getattr(error, "reason", None) or "no TLS there"
            reason = reason.replace("_", " ").lower()
            return broker.refused(
                f"the TLS handshake failed ({reason}); is port {broker.port} its "
                f"TLS port?"
            )
        case TimeoutError():
            return broker.unreachable(f"no reply in {broker.connect_s:g} s")
        case OSError():
            return broker.unreachable(error.strerror or type(error).__name__)
        case _:
            return broker.unreachable(str(error) or type(error).__name__)


class Backoff:
    """How long to wait before the next try: briefly at first, then doubling."""

    def __init__(self, dice: Random, longest_s: float | None = None) -> None:
        """Set it up; the longest wait is the monitor's own where none is given."""
        self._dice = dice
        self._longest_s = LONGEST_WAIT_S if longest_s is None else longest_s
        self._tries = 0
        self._away_s = 0.0
        """Since the last steady connection, tries and waits."""

    def next_s(self) -> float:
        """Return the next wait: half of it fixed, half of it by chance.

        Many cabins behind one broker must not all come back in the same second.
        """
        full_s = min(self._longest_s, FIRST_WAIT_S * 2.0 ** min(self._tries, 16))
        if self._away_s < QUICK_FOR_S:
            full_s = min(full_s, QUICK_WAIT_S)
        else:
            self._tries += 1
        wait_s = full_s * self._dice.uniform(0.5, 1.0)
        self._away_s += wait_s
        return wait_s

    def held_for(self, time_s: float) -> None:
        """Note a connection that ended, or a try; a steady one begins all again."""
        self._away_s += time_s
        if time_s >= STEADY_S:
            self._tries, self._away_s = 0, 0.0
