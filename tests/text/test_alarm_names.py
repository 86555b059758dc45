"""Every packaged alarm has a name for people, and none shows its id."""

from cabinvigil.daemon.settings.config import example
from cabinvigil.daemon.text.alarm_names import NAMES, name_of_alarm


def test_every_packaged_alarm_has_a_name() -> None:
    packaged = set(example().alarms)
    assert set(NAMES) - packaged == {"rule-broken"}, "the one that no config has"
    assert packaged - set(NAMES) == set(), "daemon/text/alarm_names.py, NAMES lacks it"
    names = [name_of_alarm(one) for one in packaged]
    assert len(set(names)) == len(names), "no two alarms by one name"
    assert not any("-" in name for name in names)


def test_an_alarm_about_one_source_names_it() -> None:
    assert name_of_alarm("sensor-fault/bunk-co") == "sensor failed, bunk-co"


def test_an_alarm_of_ones_own_is_called_by_its_own_word() -> None:
    assert name_of_alarm("damp-corner") == "damp corner"
