"""The message files: plain words, units, one act a sentence, alike in all tongues."""

import ast
import inspect
import re
import tomllib
from collections.abc import Iterable, Iterator

import pytest

from cabinvigil.daemon import rules
from cabinvigil.daemon.core.model import Priority
from cabinvigil.daemon.core.sentences import (
    FACTS,
    LONGEST,
    NEWS,
    NO_BREAK,
    fields_of,
    sentence,
    without_act,
)
from cabinvigil.daemon.settings.registries import packaged
from cabinvigil.drivers.kit.quantity import QUANTITIES
from tests.tools.sentences import (
    ALL,
    DANGERS,
    EN,
    GASES,
    ROOM_FOR_THE_MOMENT,
    WEIGHTS,
    every_sentence,
    filled,
    variants,
    weight_of,
)


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_danger_is_too_long_for_its_fullest_sentence(language: str) -> None:
    """With the widest numbers the fullest sentence fits, and the moment beside it."""
    words = ALL[language]
    for alarm in DANGERS:
        for case, lines in words.alarms[alarm].items():
            facts = {"limit": 19.5} if alarm.startswith("o2") else {}
            said = filled(words, alarm, lines[0], **facts)
            assert len(said) <= LONGEST - ROOM_FOR_THE_MOMENT, (case, said)
            assert not said.startswith(alarm), (alarm, case)


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_sentence_is_too_long_with_usual_names(language: str) -> None:
    """Whatever is told, its fullest sentence leaves room for the moment."""
    facts = {"place": "ceiling", "source": "main"}
    for alarm, said in every_sentence(ALL[language], **facts):
        assert len(said) <= LONGEST - ROOM_FOR_THE_MOMENT, (alarm, said)


@pytest.mark.parametrize("language", sorted(ALL))
def test_each_variant_is_shorter_and_needs_no_more(language: str) -> None:
    """The last needs nothing; no two are the same, so none is there in vain."""
    for alarm, table in ALL[language].alarms.items():
        for case, lines in table.items():
            assert fields_of(lines[-1]) == (), (alarm, case)


def needs(lines: tuple[str, ...]) -> list[list[str]]:
    """List what each variant needs, but for a rule's own sentence, which is English."""
    return sorted(sorted(fields_of(line)) for line in lines if line != "{text}")


@pytest.mark.parametrize("language", sorted(ALL))
def test_all_languages_have_the_same_cases_and_facts(language: str) -> None:
    """A translation leaves out no case, and no number."""
    words = ALL[language]
    assert words.alarms.keys() == EN.alarms.keys()
    for alarm, table in EN.alarms.items():
        assert words.alarms[alarm].keys() == table.keys(), alarm
        for case, lines in table.items():
            ours = needs(words.alarms[alarm][case])
            assert ours == needs(lines), (alarm, case)
    if language != "en":
        names = {one.words for one in QUANTITIES.values()}
        assert names | EN.terms.keys() <= words.terms.keys()


_ACTS_EN = """
open get put look charge check switch stop replace wait take turn give leave press
unplug close run go call
"""
_ACTS_DE = """
öffnen gehen hinausgehen betreten löschen ansehen laden prüfen einschalten ersetzen
ausschalten beenden warten nehmen belüften lassen drücken schließen rufen lenzen
"""
_ACTS_FR = """
ouvrez sortez éteignez regardez rechargez rechargez-la vérifiez vérifiez-les vérifiez-le
redémarrez remplacez-la remplacez-le arrêtez attendez prenez coupez donnez-lui laissez
appuyez fermez appelez rentrer lancez pompez
"""
ACTS = {
    # Verbs of the acts, in the form that asks somebody to do it.
    language: frozenset(words.split())
    for language, words in (("en", _ACTS_EN), ("de", _ACTS_DE), ("fr", _ACTS_FR))
}
ALLOWED = {
    "en": {
        "high": (
            "Get everyone outside now.",
            "Get everyone outside now, heater off only on the way.",
            "Get everyone outside now: no flames, no switches.",
            "Call for medical help now.",
        ),
        "medium": (
            "Open the door and vents now.",
            "Heater off, open the door and vents now.",
            "Open a vent now.",
            "Put out every flame now.",
            "Turn the heater off now.",
            "Get up and pump now.",
            "Check its wire now.",
        ),
        "low": ("Open a vent.", "Take another blanket.", "Look at the readings."),
    },
    "de": {
        "high": (
            "Sofort alle ins Freie.",
            "Sofort alle ins Freie, Heizung nur am Weg aus.",
            "Sofort alle ins Freie: keine Flamme, kein Schalter.",
            "Jetzt den Notruf 112 wählen.",
        ),
        "medium": (
            "Jetzt Tür und Lüftungsklappen öffnen.",
            "Heizung aus, Tür und Lüftungsklappen öffnen.",
            "Jetzt eine Lüftungsklappe öffnen.",
            "Jetzt alle Flammen löschen.",
            "Jetzt die Heizung ausschalten.",
            "Jetzt aufstehen und lenzen.",
            "Jetzt seine Leitung prüfen.",
        ),
        "low": (
            "Eine Lüftungsklappe öffnen.",
            "Noch eine Wolldecke nehmen.",
            "Messwerte ansehen.",
        ),
    },
    "fr": {
        "high": (
            "Sortez tous immédiatement.",
            "Sortez tous immédiatement, chauffage coupé s'il est à portée.",
            "Sortez tous immédiatement : ni flamme, ni interrupteur.",
            "Appelez tout de suite les secours.",
        ),
        "medium": (
            "Ouvrez vite la porte et les aérations.",
            "Coupez le chauffage, ouvrez vite la porte et les aérations.",
            "Ouvrez une aération tout de suite.",
            "Éteignez tout de suite toutes les flammes.",
            "Coupez tout de suite le chauffage.",
            "Levez-vous et pompez tout de suite.",
            "Vérifiez vite son fil.",
        ),
        "low": (
            "Ouvrez une aération.",
            "Prenez une autre couverture.",
            "Regardez les mesures.",
        ),
    },
}
"""What each sound asks for: temporal-four everybody out, the three-pulse burst to wake
and ventilate.  The first is the act; the others are what a gas, or the lack of any
reading, asks for besides or in its place."""
HEATER = {"en": "heater off", "de": "heizung", "fr": "chauffage"}
"""What makes carbon monoxide, as its acts name it."""
POISON = {
    "en": r"poison gas\b",
    "de": r"(etwas |viel )?giftiges gas\b",
    "fr": r"(un peu de )?gaz toxique\b",
}
"""How every sentence on carbon monoxide in the air begins, and no other."""


@pytest.mark.parametrize("language", sorted(ALL))
def test_the_act_is_that_of_the_sound(language: str) -> None:
    """Who wakes to one sound is never told to do the other's act."""
    seen = set()
    for alarm, case, _, line in variants(ALL[language]):
        weight = weight_of(alarm, case)
        if not weight:
            continue
        act = line.removeprefix(without_act(line)).strip()
        assert act in ALLOWED[language][weight], (alarm, case, line)
        seen.add(act)
        is_air_bad = weight != "low" and case != "after"
        wakes_for_co = alarm in GASES["carbon monoxide"] and is_air_bad
        if wakes_for_co:
            assert HEATER[language] in act.lower(), (alarm, case, line)
    assert seen == {act for acts in ALLOWED[language].values() for act in acts}


@pytest.mark.parametrize("language", sorted(ALL))
def test_a_waking_alarm_of_the_packaged_limits_has_an_act_for_its_step(
    language: str,
) -> None:
    """Each step of each ladder: the sentence that is really said ends as it sounds."""
    limits = tomllib.loads(packaged("limits.toml").read_text(encoding="utf-8"))
    for alarm in (one for alarms in GASES.values() for one in alarms):
        table = limits["alarm"][alarm]
        steps = table.get("steps", [])
        words = {step["priority"] for step in steps} or {WEIGHTS[alarm]}
        for word in words:
            said = sentence(ALL[language], alarm, Priority[word.upper()], "", {})
            act = said.removeprefix(without_act(said)).strip().replace(NO_BREAK, " ")
            assert act in ALLOWED[language][word], (alarm, word, said)


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_two_gases_begin_alike(language: str) -> None:
    """The first two words tell which gas it is; carbon monoxide is a poison first."""
    beginnings: dict[tuple[str, ...], set[str]] = {}
    for gas, alarms in GASES.items():
        for alarm, case, _, line in variants(ALL[language]):
            if alarm not in alarms:
                continue
            words = tuple(re.findall(r"[^\W\d_]+", line.lower()))
            beginnings.setdefault(words[:2], set()).add(gas)
            is_poison = re.match(POISON[language], line.lower()) is not None
            if case != "after":  # then it is in the blood, and the air is good
                assert is_poison is (gas == "carbon monoxide"), line
    assert all(len(gases) == 1 for gases in beginnings.values()), beginnings


@pytest.mark.parametrize("language", sorted(ALL))
def test_each_sentence_ends_with_exactly_one_act(language: str) -> None:
    """Two sentences: what is, without an order; then one order.

    Those of `ALLOWED` are held by themselves; news ask nobody to act.
    """
    allowed = {act for acts in ALLOWED[language].values() for act in acts}
    for alarm, said in every_sentence(ALL[language]):
        if alarm in NEWS - {"all-clear"} or said.endswith(tuple(allowed)):
            continue
        told, _, act = said.rstrip(".").rpartition(". ")
        assert told, (alarm, said)
        found = [
            [
                word
                for word in re.findall(r"[\w'-]+", half.lower())
                if word in ACTS[language]
            ]
            for half in (told, act)
        ]
        assert found[0] == [], (alarm, said)
        assert len(found[1]) == 1, (alarm, said)


_JARGON_EN = """
cohb carboxyhaemoglobin lel ppo2 threshold hysteresis projection probability dew
checksum crc nack i2c uart mqtt gpio ntp timeout deviation stratified ventilate
enriched deficient hypoxia asphyxia co co2 o2 rh pm2 vol
"""
_JARGON_DE = (
    "cohb schwellwert taupunkt prüfsumme mqtt i2c gpio co co2 o2 rh ueg ventilieren"
)
_JARGON_FR = "cohb seuil rosée mqtt i2c gpio co co2 o2 hr lie ventilez"
JARGON = {
    language: frozenset(words.split())
    for language, words in (("en", _JARGON_EN), ("de", _JARGON_DE), ("fr", _JARGON_FR))
}
"""Words that a frightened person would have to think about; our own list."""


@pytest.mark.parametrize("language", sorted(ALL))
def test_no_sentence_has_jargon(language: str) -> None:
    """Plain words, spelled out: no formulae, no abbreviations but units."""
    for alarm, said in every_sentence(ALL[language], part="sensor", other="another"):
        words = set(re.findall(r"[a-zäöüßéèêçà]+[0-9]*", said.lower()))
        assert words.isdisjoint(JARGON[language]), (alarm, said)


UNIT_OF = {
    "o2_pct": "%",
    "fall_pct_per_h": "%",
    "rise_pct_per_h": "%",
    "settles_pct": "%",
    "cohb_pct": "%",
    "gas_lel_pct": "%",
    "rh_pct": "%",
    "co_ppm": "ppm",
    "co2_ppm": "ppm",
    "supply_v": "volts|Volt",
    "charge_pct": "%",
    "pm2_5_ugm3": "micrograms per cubic metre|Mikrogramm je Kubikmeter|"
    "microgrammes par mètre cube",
    "limit": "%|ppm",
}


@pytest.mark.parametrize("language", sorted(ALL))
def test_every_number_has_its_unit(language: str) -> None:
    """Behind each number of a fact stands the unit of its key."""
    for alarm, case, _, line in variants(ALL[language]):
        for name in fields_of(line):
            unit = UNIT_OF.get(name)
            if unit is not None:
                pattern = rf"\{{{name}:[^}}]*\}} ({unit})"
                assert re.search(pattern, line), (alarm, case, line)


_KINDS = """
absent checksum framing short wrong-part not-ready not-measured out-of-range cell-dead
port-missing port-busy no-permission bus-stuck babbling blocked queue-full not-writable
out-of-reach refused clock-stepped late too-hot under-volted not-made not-taken
restart-needed chattering failed unwatched unproved altered unwritable
"""
"""The kinds of `SourceFault` in daemon/core/model.py, and those of the core itself."""


def test_every_packaged_alarm_and_fault_has_its_words() -> None:
    """No alarm of the limits file, no kind of the model's list, is told in general."""
    limits = tomllib.loads(packaged("limits.toml").read_text(encoding="utf-8"))
    assert limits["alarm"].keys() | NEWS | {"test", "rule-broken"} <= EN.alarms.keys()
    told = EN.alarms["sensor-fault"].keys() | EN.alarms["watch-fault"].keys()
    assert frozenset(_KINDS.split()) <= told


@pytest.mark.parametrize("language", sorted(set(ALL) - {"en"}))
def test_a_translation_says_that_a_native_must_check_it(language: str) -> None:
    """Nobody's sleep should depend on sentences that nobody has read aloud."""
    text = packaged(f"words_{language}.toml").read_text(encoding="utf-8")
    assert "A native speaker must read" in text.split("language =")[0]


def rule_words() -> Iterator[tuple[str, str, str]]:
    """Read out of the rules' own text which cases and facts they hand over.

    Yields:
        (kind, "case" or "fact", word)
    """
    for kind in rules.kinds():
        tree = ast.parse(inspect.getsource(rules.find(kind)))
        for node in ast.walk(tree):
            if isinstance(node, ast.keyword) and node.arg == "facts":
                if isinstance(node.value, ast.Dict):
                    yield from ((kind, "fact", key) for key in texts(node.value.keys))
            elif isinstance(node, ast.keyword) and node.arg == "wording":
                yield from ((kind, "case", case) for case in texts([node.value]))
            elif isinstance(node, ast.Assign):
                target = ast.unparse(node.targets[0])
                if target == "wording":
                    yield from ((kind, "case", case) for case in texts([node.value]))
                found = re.fullmatch(r"facts\['(\w+)'\]", target)
                if found is not None:
                    yield kind, "fact", found[1]


def texts(nodes: Iterable[ast.expr | None]) -> Iterator[str]:
    for node in nodes:
        branches = (node.body, node.orelse) if isinstance(node, ast.IfExp) else (node,)
        for one in branches:
            if isinstance(one, ast.Constant) and isinstance(one.value, str):
                yield one.value


def test_every_case_and_fact_of_the_rules_has_its_words() -> None:
    """A rule's case that no sentence has, or a fact that none may use, is a slip."""
    limits = tomllib.loads(packaged("limits.toml").read_text(encoding="utf-8"))["alarm"]
    seen = set()
    for kind, what, word in rule_words():
        seen.add(what)
        if what == "fact":
            assert word in FACTS, (kind, word)
        elif word:
            alarms = [name for name, table in limits.items() if table["kind"] == kind]
            told = [
                name
                for name in alarms
                if {word, f"{word}-medium", f"{word}-high"} & EN.alarms[name].keys()
            ]
            assert told, (kind, word)
    assert seen == {"case", "fact"}


@pytest.mark.parametrize(
    ("language", "dry"), [("en", "dry"), ("de", "trocken"), ("fr", "sec")]
)
def test_air_too_dry_for_a_part_is_among_the_causes(language: str, dry: str) -> None:
    """CO cells are made for 15 % and more; heated air in a hard frost has less."""
    said = [text for name, text in every_sentence(ALL[language]) if "warming" in name]
    assert any(re.search(rf"\b{dry}\b", text) for text in said)
