"""README's picture of the live page: `python -m tests.tools.page_picture`.

A broker, the process itself, a watch that speaks, and Chromium at a phone's width.
"""

import tempfile
import time
from pathlib import Path

from cabinvigil.daemon.core.model import Priority
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener
from tests.phone.browser import browser
from tests.phone.rig import Watch, config, running, wait_for
from tests.phone.test_page_in_a_browser import O2_ESTIMATES

PICTURE = Path(__file__).parents[1] / "pictures" / "page.png"
TEXT = "Oxygen is falling: still 20.3 %. Open the door and vents now."


def draw() -> None:
    """Draw it anew."""
    with tempfile.TemporaryDirectory() as name:
        folder, port = Path(name), free_port()
        with mosquitto(folder / "broker") as broker, Listener(broker.port) as listener:
            path = config(folder, broker.port, {}, page=port)
            with running(path) as process, browser() as tab:
                wait_for(lambda: "The page is at" in process.said())
                tab.size(390, 844)
                watch = Watch(listener)
                watch.watching()
                watch.alarm("o2-projected", priority=Priority.MEDIUM, text=TEXT)
                tab.open(f"http://127.0.0.1:{port}/")
                tab.run("localStorage.setItem('theme', 'light')")
                for _ in range(3):
                    watch.beat()
                    watch.readings(
                        o2_pct=20.3, co2_ppm=1800.0, co_ppm=4.0, temp_c=18.0,
                        rh_pct=55.0, temp_c_glass=8.0, supply_v=12.7,
                    )  # fmt: skip
                    watch.estimates(**O2_ESTIMATES)
                    tab.open(f"http://127.0.0.1:{port}/")
                    time.sleep(1.5)
                tab.wait(lambda: tab.text("word") == "wake")
                tab.picture(PICTURE)


if __name__ == "__main__":
    draw()
