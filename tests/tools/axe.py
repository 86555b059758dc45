"""Looks at the live page in each state with axe-core, and keeps a picture of each.

Run: `npm pack axe-core`, unpack it somewhere outside, then
`python -m tests.tools.axe .../axe.min.js [PICTURES]` (three minutes; Debian's Chromium
and mosquitto).

The suite's own check (`tests/phone/accessibility.py`) needs nothing from outside; this
is somebody else's opinion.
"""

import json
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.outputs.mqtt.messages import PHONE_TEST
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Listener
from tests.phone.accessibility import AUDIT
from tests.phone.browser import Tab, browser
from tests.phone.rig import Watch, config, running, wait_for
from tests.phone.test_page_in_a_browser import O2_ESTIMATES, OPEN_CHART, pair

WIDTHS = (390, 1280)
THEMES = ("light", "dark")
RUN = "axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', "
RUN += "'wcag22aa', 'best-practice']})"


class Play:
    """A watch that speaks, and what it says in each state."""

    def __init__(self, listener: Listener) -> None:
        self.listener = listener
        self.watch = Watch(listener)
        self.other = Watch(listener, "plover")
        self.is_speaking = True
        self.has_other = False
        self.end = threading.Event()
        self.thread = threading.Thread(target=self.speak)

    def speak(self) -> None:
        while not self.end.wait(1.0):
            for watch in (self.watch, self.other)[: 1 + self.has_other]:
                if self.is_speaking:
                    watch.beat()
                    watch.readings(
                        o2_pct=20.3, co2_ppm=1800.0, co_ppm=4.0, temp_c=18.0,
                        rh_pct=55.0, temp_c_glass=8.0, supply_v=12.7, pm2_5_ugm3=9.0,
                    )  # fmt: skip
                    watch.estimates(**O2_ESTIMATES)

    def safe(self) -> None:
        self.watch.watching()

    def test(self) -> None:
        self.watch.alert("This is only a test.", alarm=PHONE_TEST)

    def wake(self) -> None:
        text = "Oxygen falls: 20.2 %. Open the door and vents now."
        self.watch.alarm("o2-projected", priority=Priority.MEDIUM, text=text)

    def out(self) -> None:
        self.watch.alarm(text="Far too little oxygen: 18 %. Get everyone outside now.")

    def trial(self) -> None:
        body = {"state": "begun", "text": "roof vent a third open", "until": "23:40"}
        topic = "cabinvigil/lapwing/trial"
        self.listener.publish(topic, json.dumps(body), retain=True)

    def several(self) -> None:
        self.has_other = True
        self.other.watching()

    def silent(self) -> None:
        self.is_speaking = False


def judge(tab: Tab, axe: str) -> list[str]:
    """Return what is found in the page as it is."""
    tab.run(f"{axe}; 0")
    told = tab.run(f"{RUN}.then((said) => JSON.stringify(said.violations))")
    found = [
        f"{one['id']} ({one['impact']}): {one['help']}: "
        + "; ".join(str(node["target"]) for node in one["nodes"][:3])
        for one in json.loads(told)
    ]
    return found + [f"our own: {one}" for one in tab.run(AUDIT)]


def check_the_checker(tab: Tab, axe: str) -> None:
    """Break the page, and see that it is noticed."""
    tab.run("document.documentElement.lang = ''")
    tab.run("document.getElementById('heard').textContent = ''")
    tab.run("document.getElementById('press').hidden = false")
    tab.run("document.getElementById('order').style.color = '#555'")
    found = " ".join(judge(tab, axe))
    for rule in ("html-has-lang", "button-name", "color-contrast"):
        assert rule in found, found


def look(tab: Tab, url: str, axe: str, name: str, word: str, pictures: Path) -> int:
    count = 0
    for width in WIDTHS:
        for theme in THEMES:
            tab.size(width, 844)
            tab.run(f"localStorage.setItem('theme', '{theme}')")
            tab.open(url)
            tab.wait(
                lambda: tab.run("document.getElementById('word').innerText") == word,
                40.0,
            )
            tab.media(prefers_reduced_motion="reduce")
            if "cabin=" in url:
                tab.wait(lambda: tab.run(OPEN_CHART))
            found = judge(tab, axe)
            count += len(found)
            print(f"{name}, {width} px, {theme}: {len(found)} violations", *found,
                  sep="\n  ", flush=True)  # fmt: skip
            tab.picture(pictures / f"{name}-{width}-{theme}.png", whole=True)
    return count


def main(axe: str, pictures: Path) -> int:
    count = 0
    pictures.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder, port = Path(name), free_port()
        with mosquitto(folder / "broker") as broker, Listener(broker.port) as listener:
            path = config(
                folder, broker.port, {}, page=port,
                page_more='may_answer = true\nphone_number = "+00 123"',
            )  # fmt: skip
            link = pair(path)
            with running(path) as process, browser() as tab:
                wait_for(lambda: "The page is at" in process.said(), why=process.said)
                play = Play(listener)
                play.thread.start()
                tab.open(link)
                home = link.split("#")[0]
                states: tuple[tuple[str, Callable[[], None], str], ...] = (
                    ("safe", play.safe, "safe"), ("test", play.test, "safe"),
                    ("wake", play.wake, "wake"), ("trial", play.trial, "trial"),
                    ("out", play.out, "out"), ("several", play.several, "out"),
                    ("silent", play.silent, "silent"),
                )  # fmt: skip
                try:
                    check_the_checker(tab, axe)
                    for state, begin, word in states:
                        begin()
                        time.sleep(1.0)
                        url = home if state == "several" else f"{home}?cabin=lapwing"
                        count += look(tab, url, axe, state, word, pictures)
                finally:
                    play.end.set()
                    play.thread.join()
    print(f"{count} violations")
    return count


if __name__ == "__main__":
    given = [Path(word) for word in sys.argv[1:]]
    with tempfile.TemporaryDirectory() as default:
        where = given[1] if given[1:] else Path(default)
        sys.exit(bool(main(given[0].read_text("utf-8"), where)))
