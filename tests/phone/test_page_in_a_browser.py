"""The page in Debian's Chromium, against the process itself and a watch that speaks.

One browser and one process for all: starting them takes longer than what is tried.
"""

import itertools
import os
import re
import signal
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from cabinvigil.daemon.core.model import AlarmState, Priority
from cabinvigil.daemon.outputs.mqtt.messages import PHONE_TEST
from tests.outputs.brokers import free_port, mosquitto
from tests.outputs.listener import Heard, Listener
from tests.phone.accessibility import AUDIT
from tests.phone.browser import Tab, browser
from tests.phone.rig import COMMAND, Process, Watch, config, running, wait_for

pytestmark = [
    pytest.mark.broker,
    pytest.mark.browser,
    pytest.mark.xdist_group("phone-page"),
]
O2_ESTIMATES = {
    "o2_rate_pct_per_h": [-4.0, -3.2, -2.6], "o2_settles_pct": [15.0, 16.0, 17.0],
    "o2_minutes_to_19_5": [11.0, 13.0, 16.0], "air_changes_per_h": [0.2, 0.3, 0.6],
}  # fmt: skip

OPEN_CHART = """(() => {
    const row = document.querySelector('details');
    if (row === null) return false;
    row.open = true;
    return row.querySelector('svg') !== null;
})()"""
"""Opens the first row as soon as it is there; whether its chart is drawn."""


@dataclass
class Scene:
    """Broker, process, browser, and a watch that goes on speaking."""

    tab: Tab
    watch: Watch
    listener: Listener
    process: Process
    url: str
    is_speaking: bool = True

    def speak(self) -> None:
        if self.is_speaking:
            self.watch.beat()
            self.watch.readings(
                o2_pct=20.3, co2_ppm=1800.0, co_ppm=4.0, temp_c=18.0, rh_pct=55.0,
                temp_c_glass=8.0, supply_v=12.7, pm2_5_ugm3=9.0, voc_index=100.0,
            )  # fmt: skip
            self.watch.estimates(**O2_ESTIMATES)

    def word(self) -> str:
        return str(self.tab.run("document.getElementById('word').innerText"))

    def wait_word(self, word: str, deadline_s: float = 15.0) -> None:
        self.tab.wait(lambda: self.word() == word, deadline_s)

    def end_alarms(self) -> None:
        for alarm in ("o2-low", "o2-projected", "sensor-stale/bunk-co2"):
            self.watch.alarm(alarm, AlarmState.NORMAL)

    def answer_asks(self, text: str = "Quiet.", verb: str = "acknowledge") -> None:
        """Answer as the watch does."""
        for heard in list(self.listener.on("/ask")):
            self.listener.heard.remove(heard)
            ident = re.findall(r'"id": ?"(\w+)"', heard.text)[0]
            body = {"answer": verb, "id": ident, "ok": True, "text": text}
            self.watch.send(
                self.watch.messages.answer(body, "", b"", self.watch.stamp())
            )


@pytest.fixture(scope="module")
def scene(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Scene]:
    folder = tmp_path_factory.mktemp("page")
    port = free_port()
    with mosquitto(folder / "broker") as broker, Listener(broker.port) as listener:
        path = config(
            folder, broker.port, {}, page=port,
            page_more='may_answer = true\nphone_number = "+00 123"',
        )  # fmt: skip
        link = pair(path)
        with running(path) as process, browser() as tab:
            wait_for(lambda: "The page is at" in process.said(), why=process.said)
            tab.size(390, 844)
            one = Scene(tab, Watch(listener), listener, process, link.split("#")[0])
            ends = threading.Event()

            def speak() -> None:
                while not ends.wait(1.0):
                    one.speak()

            one.watch.watching()
            speaking = threading.Thread(target=speak)
            speaking.start()
            tab.open(link)
            yield one
            ends.set()
            speaking.join()


def pair(path: Path) -> str:
    said = subprocess.run(
        [*COMMAND, "--config", str(path), "--pair", "Ana's phone"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    return re.findall(r"http://\S+#pair=\S+", said)[0]


@pytest.fixture(autouse=True)
def calm(scene: Scene) -> Iterator[None]:
    yield
    scene.is_speaking = True
    scene.watch.bump = {}
    scene.end_alarms()
    assert scene.tab.errors == []


def test_all_is_well_and_says_when_it_was_so(scene: Scene) -> None:
    scene.wait_word("safe")
    tab = scene.tab
    assert tab.text("order") == "Monitored."
    assert re.fullmatch(r"No alarm\. Next sign of life in \d+ s\.", tab.text("since"))
    assert tab.run("document.title") == "safe – Lapwing"
    assert "This device is Ana's phone." in tab.text("as-of")
    assert "#" not in tab.run("location.href"), "the token does not stay in the address"
    assert tab.text("number").split() == ["20.3", "%", "falling"]
    assert tab.text("outlook") == "19.5 % in 11 to 16 min"
    assert "air changes 0.3 an hour (0.2 to 0.6)" in tab.text("rest")
    for label in ("carbon dioxide", "dew point", "dust", "VOC, usual 100", "battery"):
        assert label in tab.text("rest")
    assert tab.run("document.querySelectorAll('#decides svg .fan').length") == 1


def test_a_test_of_the_parts_is_a_trial_and_hides_no_other_alarm(scene: Scene) -> None:
    scene.wait_word("safe")
    tab = scene.tab
    scene.watch.bump = {"bump_for_s": 240.0, "bump_by": "breath"}
    scene.wait_word("trial")
    told = "A test of the sensors with breath: its alarms are not dangers."
    assert tab.text("order") == told
    scene.watch.alarm(text="Far too little oxygen: 17 %. Get everyone outside now.")
    tab.wait(lambda: tab.text("alarms").startswith("TEST Far too little"), 15.0)
    assert (scene.word(), tab.text("order")) == ("trial", told)
    co = {"alarm": "co-level", "text": "Carbon monoxide: 90 ppm. Get out now."}
    scene.watch.alarm(**co)
    scene.wait_word("out")
    assert tab.text("order") == "Get out now."
    assert tab.text("alarms").startswith("DANGER Carbon monoxide")
    scene.watch.alarm("co-level", AlarmState.NORMAL)
    scene.wait_word("trial")
    scene.watch.bump = {}
    scene.wait_word("out")
    assert tab.text("alarms").startswith("DANGER Far too little")


@pytest.mark.parametrize(
    ("priority", "text", "word", "order"),
    [
        (Priority.HIGH, "Far too little oxygen: 18 %. Get everyone outside now.", "out",
         "Get everyone outside now."),
        (Priority.MEDIUM, "Oxygen falls: 20.2 %. Open the door and vents now.", "wake",
         "Open the door and vents now."),
        (Priority.LOW, "Water settles on the glass. Open a vent.", "look",
         "Open a vent."),
        (Priority.FAULT, "The sensor is silent.", "look", "Something needs attention."),
    ],
)  # fmt: skip
def test_a_danger_is_one_word_and_its_act_first(
    scene: Scene, priority: Priority, text: str, word: str, order: str
) -> None:
    scene.wait_word("safe")
    scene.watch.alarm(priority=priority, text=text)
    scene.wait_word(word)
    tab = scene.tab
    assert tab.text("order") == order
    assert tab.run("document.getElementById('live').textContent") == f"{word}. {order}"
    assert tab.run("document.title").startswith(word)
    can_answer = priority is not Priority.FAULT
    # What came of a press in the test before stays there for 20 s; a test before bed,
    # left by another, may be answered all the while.
    shown = "!document.getElementById('press').hidden"
    means = "document.getElementById('means').textContent"
    tab.wait(
        lambda: (
            tab.run(shown) == can_answer
            or str(tab.run(means)).startswith("A test from the cabin")
        ),
        25.0,
    )


def test_an_answer_reaches_the_watch_and_is_told(scene: Scene) -> None:
    scene.wait_word("safe")
    scene.watch.alarm()
    scene.wait_word("out")
    scene.listener.heard.clear()
    scene.tab.run("document.getElementById('heard').click()")
    wait_for(lambda: scene.listener.on("/ask"))
    heard: Heard = scene.listener.on("/ask")[0]
    assert '"ask":"acknowledge","alarm":"o2-low","text":"Ana\'s phone"' in heard.text
    assert dict(heard.properties.UserProperty)["name"] == "Ana's phone"
    scene.answer_asks()
    scene.tab.wait(lambda: scene.tab.text("done") == "Quiet.")
    assert scene.tab.run("document.getElementById('done').className") == ""


def test_a_press_that_did_not_reach_the_watch_is_told_in_red(scene: Scene) -> None:
    scene.wait_word("safe")
    scene.watch.alarm(text="Again. Get everyone outside now.")
    scene.wait_word("out")
    scene.tab.run("document.getElementById('heard').click()")
    scene.tab.wait(lambda: scene.tab.text("done").startswith("Not received"), 3.0)
    assert scene.tab.run("document.getElementById('done').className") == "wrong"
    scene.tab.errors.clear()  # the browser's own note of the 504


def test_a_mark_reaches_the_watch_with_its_words(scene: Scene) -> None:
    scene.wait_word("safe")
    tab = scene.tab
    scene.listener.heard.clear()
    tab.run("document.getElementById('mark-text').value = 'roof vent  open 2 cm'")
    tab.run("document.getElementById('mark').click()")
    wait_for(lambda: scene.listener.on("/ask"))
    assert (
        '"ask":"mark","text":"roof vent open 2 cm"' in scene.listener.on("/ask")[0].text
    )
    scene.answer_asks("Noted.", "mark")
    tab.wait(lambda: tab.text("marked") == "Noted.")
    assert tab.run("document.getElementById('mark-text').value") == ""
    tab.run("document.getElementById('mark').click()")
    wait_for(lambda: scene.listener.on("/ask"))
    assert '"text":"marked by Ana\'s phone"' in scene.listener.on("/ask")[0].text
    scene.answer_asks("Marked.", "mark")
    tab.wait(
        lambda: tab.text("marked") == "Marked. Without words: 'marked by Ana's phone'."
    )
    scene.listener.heard.clear()
    tab.run("document.getElementById('mark').click()")
    wait_for(lambda: scene.listener.on("/ask"))
    tab.wait(lambda: tab.text("marked").startswith("Not received"), 20.0)
    assert tab.run("document.getElementById('marked').className") == "wrong"
    scene.listener.heard.clear()
    tab.errors.clear()  # the browser's own note of the 504


def test_the_test_before_bed_is_answered_by_the_same_button(scene: Scene) -> None:
    """It is no alarm: the word stays, and the button says what it is for."""
    scene.wait_word("safe")
    tab = scene.tab
    scene.listener.heard.clear()
    scene.watch.alert("This is only a test.", alarm=PHONE_TEST)
    tab.wait(lambda: tab.text("means").startswith("A test from the cabin, no alarm"))
    assert scene.word() == "safe"
    tab.run("document.getElementById('heard').click()")
    wait_for(lambda: scene.listener.on("/ask"))
    assert '"ask":"acknowledge","alarm":"precheck"' in scene.listener.on("/ask")[0].text
    scene.answer_asks("The test reached you.")
    tab.wait(lambda: tab.text("done") == "The test reached you.")
    tab.wait(lambda: tab.text("means") == "")


def test_it_turns_to_not_known_and_to_silent_by_its_own_clock(scene: Scene) -> None:
    """The server is frozen: it says nothing more, and its connection stands."""
    scene.wait_word("safe")
    process = scene.process.process
    assert process is not None
    os.kill(process.pid, signal.SIGSTOP)
    try:
        scene.wait_word("not known", 10.0)
        assert scene.tab.text("order") == "No news: do not rely on this page."
        assert "old" in scene.tab.run("document.querySelector('.figure').className")
        scene.wait_word("silent", 25.0)
        assert scene.tab.text("order") == "Not monitored. Call them. +00 123"
    finally:
        os.kill(process.pid, signal.SIGCONT)
    scene.wait_word("safe", 30.0)
    scene.tab.errors.clear()


def test_a_watch_that_falls_silent_is_silent_here(scene: Scene) -> None:
    scene.wait_word("safe")
    scene.is_speaking = False
    scene.wait_word("silent", 30.0)
    assert re.match(r"Last heard \d+ s ago\.", scene.tab.text("since"))
    scene.is_speaking = True
    scene.wait_word("safe")


def test_several_cabins_are_a_list_with_the_gravest_first(scene: Scene) -> None:
    scene.wait_word("safe")
    other = Watch(scene.listener, cabin="plover")
    other.watching()
    other.beat()
    tab = scene.tab
    tab.wait(lambda: tab.run("document.querySelectorAll('#rows a').length") == 2)
    other.alarm()
    tab.open(scene.url)
    tab.wait(lambda: tab.run("document.querySelector('.row-word')?.innerText") == "out")
    assert scene.word() == "out", "of all of them the gravest"
    tab.run("document.querySelector('#rows a').click()")
    tab.wait(lambda: tab.run("document.title") == "out – Plover")
    tab.open(f"{scene.url}?cabin=lapwing")
    scene.wait_word("safe")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 1280])
@pytest.mark.parametrize("word", ["safe", "out", "wake", "look"])
def test_no_fault_is_found_by_the_accessibility_check(
    scene: Scene, theme: str, width: int, word: str
) -> None:
    """Contrast, sizes, names, nothing cut off; in each state, light and dark."""
    tab = scene.tab
    tab.run(f"localStorage.setItem('theme', '{theme}')")
    tab.size(width, 844)
    tab.open(f"{scene.url}?cabin=lapwing")
    priorities = {"out": Priority.HIGH, "wake": Priority.MEDIUM, "look": Priority.LOW}
    if word in priorities:
        scene.watch.alarm(priority=priorities[word])
    scene.wait_word(word)
    tab.wait(lambda: tab.run(OPEN_CHART))
    # The ground changes slowly where motion is not refused.
    tab.media(prefers_reduced_motion="reduce")
    assert tab.run(AUDIT) == []
    tab.size(390, 844)


def test_text_at_twice_its_size_still_fits(scene: Scene) -> None:
    tab = scene.tab
    tab.open(f"{scene.url}?cabin=lapwing")
    scene.watch.alarm()
    scene.wait_word("out")
    tab.run("document.documentElement.style.fontSize = '200%'")
    assert tab.run(AUDIT) == []


def test_the_check_finds_what_is_wrong(scene: Scene) -> None:
    tab = scene.tab
    tab.open(f"{scene.url}?cabin=lapwing")
    scene.wait_word("safe")
    tab.run("document.getElementById('since').style.color = '#2a6a45'")
    tab.run("document.getElementById('keep').style.minHeight = '20px'")
    tab.run("document.getElementById('keep').style.padding = '0'")
    tab.run("document.getElementById('keep').style.alignSelf = 'start'")
    tab.run("document.getElementById('order').style.fontSize = '9px'")
    tab.run("document.documentElement.lang = ''")
    found = " ".join(tab.run(AUDIT))
    for words in ("contrast", "target of", "text of 9 px", "no language"):
        assert words in found


def test_a_kept_watch_sounds_what_the_sounder_would(scene: Scene) -> None:
    """Temporal-four for a danger; the tones are counted, nobody hears them."""
    tab = scene.tab
    tab.open(f"{scene.url}?cabin=lapwing")
    scene.wait_word("safe")
    tab.run(
        "window.tones = []; const start = OscillatorNode.prototype.start;"
        "OscillatorNode.prototype.start = function(at) {"
        " window.tones.push(at); return start.call(this, at); };"
    )
    tab.run("document.getElementById('keep').click()")
    tab.wait(lambda: tab.text("keep") == "Alarms sound here: stop")
    assert tab.run("window.tones.length") == 0
    scene.watch.alarm()
    scene.wait_word("out")
    tab.wait(lambda: tab.run("window.tones.length") >= 4)
    first = tab.run("window.tones.slice(0, 4)")
    gaps = [round(b - a, 2) for a, b in itertools.pairwise(first)]
    assert gaps == [0.2, 0.2, 0.2]
    tab.run("document.getElementById('keep').click()")
    tab.wait(lambda: tab.text("keep") == "Sound alarms here")
