"""Recorded air: its contacts stand as its rows say, on the contacts of a config."""

import tempfile
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cabinvigil.daemon.commands import rehearse
from cabinvigil.daemon.log.csv import Recording, RecordingError
from cabinvigil.daemon.rehearsal.emulated.contact import EmulatedContact
from cabinvigil.daemon.rehearsal.fitted import with_contacts
from cabinvigil.daemon.rehearsal.recorded import RecordedAir
from cabinvigil.daemon.settings.config import Settings, example
from cabinvigil.daemon.settings.values import PartSettings
from tests.commands.calling import call

FORE, AFT, GAS = "contact_smoke__fore", "contact_smoke__aft", "contact_gas"
ROWS = st.lists(
    st.tuples(
        st.integers(1, 40),
        st.fixed_dictionaries(
            {}, optional=dict.fromkeys((FORE, AFT, GAS), st.sampled_from("01"))
        ),
    ),
    min_size=2,
    max_size=12,
)


def with_part(name: str, means: str) -> Settings:
    part = PartSettings(kind="contact", line="GPIO5", means=means)  # type: ignore[arg-type]
    lapwing = example()
    return replace(lapwing, parts={**lapwing.parts, name: part})


@settings(max_examples=150, deadline=None)
@given(ROWS, st.booleans())
def test_each_contact_stands_as_the_last_row_that_says_so(
    rows: list[tuple[int, dict[str, str]]], has_one_of_all: bool
) -> None:
    """At every second, and no other than its own; a blank cell changes nothing."""
    columns = [FORE, AFT, GAS]
    text = "time_s,co_ppm," + ",".join(columns)
    text += ",contact_smoke\n" if has_one_of_all else "\n"
    at_s, known = 0, []
    for step_s, cells in rows:
        given_cells = [cells.get(key, "") for key in columns]
        text += f"{at_s},0," + ",".join(given_cells)
        # As `log csv` has it: the column of all beside those of each.
        text += ",1\n" if has_one_of_all else "\n"
        known.append((at_s, cells))
        at_s += step_s
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "air.csv"
        file.write_text(text, encoding="utf-8")
        recording = Recording(file)
        played, _ = with_contacts(example(), recording.channels)
        air = RecordedAir(recording)
    now = 0.0
    names = {FORE: "fore", AFT: "aft", GAS: "gas-contact"}
    parts = {
        key: EmulatedContact(
            air.air_now,
            1,
            lambda: now,
            means=played.parts[name].means or "",
            part=name,
        )
        for key, name in names.items()
    }
    for second in range(known[-1][0] + 2):
        now = float(second)
        air.advance(now)
        for key, part in parts.items():
            said = [cells[key] for at, cells in known if at <= second and key in cells]
            assert part.is_closed is (said[-1:] == ["1"])


def test_contacts_that_the_config_has_are_used_and_others_added_aloud() -> None:
    has = with_part("fore", "smoke")
    assert with_contacts(has, ["o2_pct", "contact_smoke"]) == (has, ())
    assert with_contacts(has, ["contact_smoke__fore"]) == (has, ())
    full, notes = with_contacts(has, ["contact_smoke__aft", "contact_door"])
    assert [full.parts[name].means for name in ("aft", "door-contact")] == [
        "smoke",
        "door",
    ]
    assert len({part.line for part in full.parts.values() if part.line}) == 3
    wired = "is added: hardware.md shows how one is wired."
    assert notes == (
        f"No smoke alarm of the column contact_smoke__aft is here, so aft {wired}",
        f"No door contact of the column contact_door is here, so door-contact {wired}",
    )


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("contact_smoke__bunk-o2", "bunk-o2 is no smoke alarm in the config; name one"),
        ("contact_gas__fore", "fore is no gas alarm in the config; name one that is"),
        ("contact_gas__Aft", "'Aft' is not a name for a contact; call the column co"),
        ("contact_gas__clock", "'clock' is not a name for a contact; call the column"),
    ],
)
def test_a_column_that_names_no_such_contact_is_refused(column: str, said: str) -> None:
    with pytest.raises(RecordingError, match=said):
        with_contacts(with_part("fore", "smoke"), [column])


def test_a_recorded_smoke_alarm_is_heard_in_a_rehearsal(tmp_path: Path) -> None:
    file = tmp_path / "air.csv"
    rows = [(0, 0), (60, 1), (120, 0), (180, 0)]
    text = "".join(f"{at},0,{level}\n" for at, level in rows)
    file.write_text("time_s,co_ppm,contact_smoke\n" + text, encoding="utf-8")
    code, out, _ = call(rehearse, "--air", file, "--tick-s", "1")
    assert code == 0
    assert "No smoke alarm of the column contact_smoke is here" in out
    rung = [line for line in out.splitlines() if "The smoke alarm sounds" in line]
    assert rung[0].startswith("22:01:0")
