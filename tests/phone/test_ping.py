"""The ping: what a server answers, or does not, and what a silent one keeps."""

import http.server
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from cabinvigil.daemon.phone import ping
from cabinvigil.daemon.phone.ping import Ping


class _Server(http.server.BaseHTTPRequestHandler):
    def do_GET(self) -> None:
        self.send_response(int(self.path.strip("/")))
        self.end_headers()

    def log_message(self, *_: object) -> None: ...


@contextmanager
def server() -> Iterator[int]:
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), _Server) as one:
        thread = threading.Thread(target=one.serve_forever)
        thread.start()
        try:
            yield one.server_port
        finally:
            one.shutdown()
            thread.join()


async def test_it_says_what_a_server_answers() -> None:
    with server() as port:
        at = f"http://127.0.0.1:{port}"
        assert await Ping(f"{at}/200").fetch() == ""
        assert await Ping(f"{at}/204").fetch() == ""
        assert await Ping(f"{at}/503").fetch() == "it responds 503"
    assert "refused" in await Ping(f"{at}/200").fetch()


async def test_a_silent_server_keeps_one_thread_however_often(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Its time-outs do not help where it sends a byte now and then."""
    monkeypatch.setattr(ping, "LONGEST_S", 0.05)
    release = threading.Event()
    monkeypatch.setattr(ping, "_fetch", lambda _url: str(release.wait(10.0)))
    one = Ping("http://127.0.0.1:9/")
    for _ in range(20):
        assert await one.fetch() == "no reply"
    assert [x.name for x in threading.enumerate()].count("ping") == 1
    release.set()
    one._worker.close()
    assert await one._worker.ended(10.0)


async def test_a_server_that_takes_the_call_alone_is_told(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ping, "LONGEST_S", 0.05)
    with socket.create_server(("127.0.0.1", 0)) as silent:
        one = Ping(f"http://127.0.0.1:{silent.getsockname()[1]}/")
        assert await one.fetch() in ("timed out", "no reply")
