"""A stand-in for the kernel's GPIO, with the calls of the real package."""

from types import SimpleNamespace
from typing import Any

PIN, SENSE = "GPIO17", "GPIO27"


class Kernel:
    """Two chips; the header's lines are on the second, as on some Pis."""

    def __init__(self) -> None:
        self.names = {"/dev/gpiochip0": {"ETH_RST": 0}, "/dev/gpiochip4": {PIN: 17}}
        self.names["/dev/gpiochip4"][SENSE] = 27
        self.levels: dict[str, int] = {}
        self.settings: dict[str, Any] = {}
        self.refuses: dict[str, OSError] = {}
        self.released: list[str] = []
        self.events: list[Any] = []
        self.driven: list[int] = []
        """The levels that the pin was set to, one after the other."""
        self.follows = False
        """Whether the sense line hears what the pin does."""
        self.gpiod = self._package()

    def _package(self) -> SimpleNamespace:
        line = SimpleNamespace(
            Value=SimpleNamespace(ACTIVE=1, INACTIVE=0),
            Direction=SimpleNamespace(OUTPUT="out", INPUT="in"),
            Edge=SimpleNamespace(BOTH="both"),
            Bias=SimpleNamespace(PULL_UP="up", PULL_DOWN="down", DISABLED="disabled"),
        )
        kernel = self

        class Chip:
            def __init__(self, path: str) -> None:
                kernel.refuse("open")
                self.path = path

            def __enter__(self) -> "Chip":
                return self

            def __exit__(self, *_: object) -> None:
                return

            def line_offset_from_id(self, name: str) -> int:
                if name not in kernel.names[self.path]:
                    raise FileNotFoundError(2, "no such line")
                return kernel.names[self.path][name]

        class Request:
            def __init__(self, name: str) -> None:
                self.name = name

            def set_value(self, name: str, value: int) -> None:
                kernel.refuse("set", name)
                assert name == self.name
                kernel.levels[name] = value
                kernel.driven.append(value)
                if kernel.follows:
                    kernel.levels[SENSE] = value

            def get_value(self, name: str) -> int:
                kernel.refuse("get", name)
                return kernel.levels[name]

            def release(self) -> None:
                kernel.released.append(self.name)
                kernel.refuse("release")

            def wait_edge_events(self, timeout: float) -> bool:
                kernel.refuse("wait")
                return bool(kernel.events)

            def read_edge_events(self) -> list[Any]:
                got, kernel.events = kernel.events, []
                return got

        def request_lines(path: str, config: dict[str, Any], consumer: str) -> Request:
            ((name, settings),) = config.items()
            kernel.refuse("request", name)
            assert name in kernel.names[path]
            kernel.settings[name] = settings
            kernel.levels[name] = settings.get("output_value", 0)
            return Request(name)

        return SimpleNamespace(
            line=line,
            Chip=Chip,
            request_lines=request_lines,
            LineSettings=lambda **settings: settings,
            EdgeEvent=SimpleNamespace(Type=SimpleNamespace(RISING_EDGE=1)),
        )

    def refuse(self, what: str, name: str = "") -> None:
        """Raise what a call is refused with, for all lines or for one."""
        for key in (what, f"{what} {name}"):
            if key in self.refuses:
                raise self.refuses[key]
