"""Fetches an address now and then, so that somebody else notices when this stops."""

import http.client
import urllib.error
import urllib.request
from functools import partial

from cabinvigil.daemon.threads.worker import OverdueError, Worker

LONGEST_S = 10.0


class Ping:
    """One address; a server that hangs keeps a thread to itself, and no more."""

    def __init__(self, url: str) -> None:
        """Name it; nothing is fetched yet."""
        self._url = url
        self._worker = Worker("ping", stays=False)

    async def fetch(self) -> str:
        """Fetch; return '' where the server answered well, else why not."""
        try:
            return await self._worker.call(partial(_fetch, self._url), 2 * LONGEST_S)
        except OverdueError:
            return "no reply"


def _fetch(url: str) -> str:
    request = urllib.request.Request(url, headers={"User-Agent": "cabinvigil"})
    try:
        # The config's own address, and http or https alone (phone/settings).
        with urllib.request.urlopen(request, timeout=LONGEST_S) as answer:
            answer.read(1024)
    except urllib.error.HTTPError as error:
        return f"it responds {error.code}"
    except (OSError, http.client.HTTPException, ValueError) as error:
        reason = getattr(error, "reason", error)
        return str(getattr(reason, "strerror", None) or reason)[:80]
    return ""
