"""Readings files: sound ones are read, one slip is one fault at its place, in YAML and as a table."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from goals.car import Car
from goals.document import read_document
from goals.faults import Fault, InputError
from goals.reading import car_section, load_goals, load_readings, load_saved
from goals.readings import Readings
from goals.readings_csv import read_table
from optimiser.reading_list import reading_list
from tests.files.inputs import CAR, GOALS, faults_of, lay, marked, spoil

READINGS = """\
format: 1
name: as it came in (invented)
lowered_by: 0
duty: hill
gauge:
  - wheel: left
    rack: 20
    toe: [[40, -0.12], [-40, 0.11], [0, 0]]
    camber: [[40, -1.2], [0, -0.5]]
  - wheel: right
    dials: {unit: mm, base: 300}
    toe: [[40, -0.61]]
turn_plates:
  - {turn: left, readings: [[10, 9.6], [20, 18.4]]}
static:
  left: {toe: 0.1, camber: -0.5, caster: 4.2, rod_length: 351, heights: {ball_joint: 185}}
  right: {kingpin_inclination: 12}
uncertainty: {toe_change: 0.02, rod_length: 0.5}
"""

TABLE = """\
kind,wheel,turn,at,value,rack,unit,base
# a remark
name,,,,as it came in (invented),,,
lowered_by,,,,0,,,
duty,,,,hill,,,
toe_change,left,,40,-0.12,20,deg,
toe_change,left,,-40,0.11,20,deg,
toe_change,left,,0,0,20,deg,
camber,left,,40,-1.2,20,,
camber,left,,0,-0.5,20,,
toe_change,right,,40,-0.61,,mm,300
turn_plate,,left,10,9.6,,,
turn_plate,,left,20,18.4,,,
toe,left,,,0.1,,,
camber,left,,,-0.5,,,
caster,left,,,4.2,,,
rod_length,left,,,351,,,
height,left,,ball_joint,185,,,
kingpin_inclination,right,,,12,,,
uncertainty,,,toe_change,0.02,,,
uncertainty,,,rod_length,0.5,,,
"""

SLIPS = {
    "unknown key": ("wheel: left\n", "wheel: left\n    §angle: 3\n", ["unknown key 'angle'"]),
    "unknown wheel": ("wheel: left", "wheel: §lefft", ["'lefft'", "perhaps you meant 'left'"]),
    "no wheel": ("  - wheel: left\n    rack", "  - §rack", ["key 'wheel' is missing"]),
    "format": ("format: 1", "format: §2", ["2 is not known", "expected 1"]),
    "word for a toe": ("[40, -0.12]", "[40, §much]", ["'much'", "a number"]),
    "pair of three": ("[40, -0.12]", "§[40, -0.12, 1]", ["a list of 3", "a pair"]),
    "toe at the zero": ("[0, 0]", "[0, 0.2]", ["0.2 at travel 0", "zeroed at ride height"]),
    "twice at one travel": ("[0, 0]", "[40, 0.3]", ["40 is read twice"]),
    "far out": ("[40, -1.2]", "[§400, -1.2]", ["400 for", "300 or less"]),
    "wrong unit": ("lowered_by: 0", "lowered_by: §3 kg", ["a mass, not a length"]),
    "no dials' base": (
        "dials: {unit: mm, base: 300}",
        "§dials: {unit: mm}",
        ["key 'base' is missing in gauge#2.dials"],
    ),
    "dials in feet": ("unit: mm,", "unit: §ft,", ["'ft'", "one of mm, thou"]),
    "turn": ("{turn: left", "{turn: §straight", ["'straight'"]),
    "plates without readings": (
        "readings: [[10, 9.6], [20, 18.4]]",
        "readings: §[]",
        ["an empty list", "at least 1"],
    ),
    "inner at nothing": ("[10, 9.6]", "[§0, 9.6]", ["0 for", "more than 0"]),
    "unknown point": ("{ball_joint: 185}", "{bal_joint: 185}", ["meant 'ball_joint'"]),
    "point of another suspension": (
        "{ball_joint: 185}",
        "{§upper_front: 185}",
        ["height of upper_front, which a strut has not"],
    ),
    "no uncertainty": ("toe_change: 0.02", "toe_change: §0", ["more than 0"]),
    "rack beyond its travel": ("rack: 20", "rack: §80", ["the rack at 80 mm", "72 mm each way"]),
    "run of nothing": (
        "    dials: {unit: mm, base: 300}\n    toe: [[40, -0.61]]\n",
        "    toe: []\n",
        ["a gauge run without a reading"],
    ),
}

TABLE_SLIPS = {
    "unknown kind": ("caster,left", "§castor,left", ["unknown kind 'castor'", "'caster'"]),
    "unknown column": (",turn,at", ",§trun,at", ["unknown column 'trun'", "'turn'"]),
    "column twice": (",rack,unit", ",§kind,unit", ["column 'kind' is there twice"]),
    "no value": ("caster,left,,,4.2", "§caster,left,,,", ["caster without value"]),
    "no wheel": ("caster,left", "§caster,", ["caster without wheel"]),
    "no place": ("toe_change,left,,40,", "§toe_change,left,,,", ["toe_change without at"]),
    "unknown wheel": ("caster,left", "caster,§lft", ["wheel 'lft'", "meant 'left'"]),
    "word for a number": ("185,,,", "§tall,,,", ["'tall' is not a length"]),
    "cells too many": ("185,,,", "185,,,,§9", ["9 cells", "8, as the first line names"]),
    "quote": ("as it came in (invented)", '"as it came in', ["a quote that is not closed"]),
    "twice": (
        "rod_length,left,,,351,,,\n",
        "rod_length,left,,,351,,,\nrod_length,left,,,§352,,,\n",
        ["rod_length is read twice, first on line 17"],
    ),
    "uncertainty of what": (
        "uncertainty,,,toe_change",
        "uncertainty,,,§toe_chang",
        ["uncertainty of 'toe_chang'", "meant 'toe_change'"],
    ),
    "dials without base": ("mm,300", "§mm,", ["key 'base' is missing"]),
    "rack beyond its travel": ("-0.61,,mm", "-0.61,§90,mm", ["the rack at 90 mm"]),
}


def car() -> Car:
    return Car.model_validate(read_document("", CAR.encode()).data)


def read(folder: Path, name: str, text: str) -> Readings:
    (folder / name).write_text(text)
    return load_readings(folder / name, car_section(car()))[0]


def refused(folder: Path, name: str, text: str) -> list[Fault]:
    with pytest.raises(InputError) as caught:
        read(folder, name, text)
    return caught.value.faults


def check_slip(folder: Path, name: str, text: str, slip: tuple[str, str, list[str]]) -> None:
    old, new, words = slip
    spoilt = spoil(text, old, new)
    place = None
    if "§" in spoilt:
        spoilt, line, column = marked(spoilt)
        place = (line, column)
    (fault,) = refused(folder, name, spoilt)
    assert fault.file == str(folder / name)
    assert place is None or (fault.line, fault.column) == place
    assert fault.line > 0
    for each in words:
        assert each in str(fault), str(fault)


def test_a_table_says_the_same_as_a_yaml_file(tmp_path: Path) -> None:
    one, other = read(tmp_path, "r.yaml", READINGS), read(tmp_path, "r.csv", TABLE)
    assert sorted(map(repr, reading_list(one))) == sorted(map(repr, reading_list(other)))
    assert len(reading_list(one)) == 13
    for name in ("name", "lowered_by", "duty", "uncertainty", "static", "turn_plates"):
        assert getattr(one, name) == getattr(other, name)


def test_semicolons_and_quotes_do_as_well(tmp_path: Path) -> None:
    text = TABLE.replace(",", ";").replace("as it came in (invented)", '"as it; came in"')
    readings = read(tmp_path, "r.CSV", text)
    assert readings.name == "as it; came in"
    assert len(reading_list(readings)) == 13


@pytest.mark.parametrize("slip", SLIPS)
def test_one_slip_is_one_fault(tmp_path: Path, slip: str) -> None:
    check_slip(tmp_path, "r.yaml", READINGS, SLIPS[slip])


@pytest.mark.parametrize("slip", TABLE_SLIPS)
def test_one_slip_in_a_table_is_one_fault(tmp_path: Path, slip: str) -> None:
    check_slip(tmp_path, "r.csv", TABLE, TABLE_SLIPS[slip])


def test_all_faults_are_told_in_one_go(tmp_path: Path) -> None:
    text = TABLE.replace("caster,left", "castor,left").replace("351", "long").replace("300", "0")
    assert len(refused(tmp_path, "r.csv", text)) == 3
    text = READINGS.replace("wheel: left", "wheel: up").replace("caster: 4.2", "caster: much")
    assert len(refused(tmp_path, "r.yaml", text)) == 2


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("r.yaml", "format: 1\n", "no reading in the file"),
        ("r.yaml", "", "the file is empty"),
        ("r.csv", "", "the file is empty"),
        ("r.csv", "kind,wheel\n", "column 'value' is missing"),
        ("r.csv", "kind,value\n", "no reading in the file"),
    ],
)
def test_nothing_read_is_a_fault(tmp_path: Path, name: str, text: str, words: str) -> None:
    (fault,) = refused(tmp_path, name, text)
    assert words in fault.found


def test_bytes_that_are_no_text_are_a_fault() -> None:
    document = read_table("r.csv", b"kind,value\ncaster,\xff\n")
    assert not document.readable and "not UTF-8" in document.faults[0].found
    assert document.faults[0].line == 2


def test_a_goals_file_names_its_readings(tmp_path: Path) -> None:
    for name, text in (("mine.yaml", READINGS), ("mine.csv", TABLE)):
        (tmp_path / name).write_text(text)
        path = lay(tmp_path, goals=GOALS + f"readings: {name}\n")
        loaded = load_goals(path)
        kept = f"readings.{name.split('.')[1]}"
        assert loaded.readings is not None and loaded.files[kept] == text.encode()
        folder = tmp_path / f"saved-{name}"
        folder.mkdir()
        for file, raw in loaded.files.items():
            (folder / file).write_bytes(raw)
        assert load_saved(folder) == loaded


def test_readings_that_are_not_there_are_a_fault_where_they_are_named(tmp_path: Path) -> None:
    goals, line, column = marked(GOALS + "readings: §mine.yaml\n")
    (fault,) = faults_of(lay(tmp_path, goals=goals))
    assert (fault.line, fault.column) == (line, column)
    assert "there is no file" in fault.found


def test_faults_of_readings_are_told_with_those_of_the_goals(tmp_path: Path) -> None:
    (tmp_path / "mine.yaml").write_text(READINGS.replace("rack: 20", "rack: 90"))
    path = lay(tmp_path, goals=GOALS.replace("hours: 8", "hours: long") + "readings: mine.yaml\n")
    assert [Path(fault.file).name for fault in faults_of(path)] == ["goals.yaml", "mine.yaml"]


def test_without_readings_nothing_changes(tmp_path: Path) -> None:
    loaded = load_goals(lay(tmp_path))
    assert loaded.readings is None
    assert set(loaded.files) == {"goals.yaml", "car.yaml", "parts.yaml"}


@settings(deadline=2000, max_examples=60)
@given(st.binary(max_size=200) | st.text().map(lambda text: text.encode("utf-8", "replace")))
def test_any_bytes_are_a_table_or_have_faults(raw: bytes) -> None:
    document = read_table("r.csv", raw)
    assert document.faults or isinstance(document.data, dict)


@settings(deadline=2000, max_examples=150, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_any_cut_or_swap_of_a_table_is_read_or_has_faults(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    start = data.draw(st.integers(0, len(TABLE)))
    end = data.draw(st.integers(start, min(len(TABLE), start + 30)))
    put = data.draw(st.text(st.sampled_from('0123456789.,;-"\n# abtoe'), max_size=12))
    path = tmp_path_factory.mktemp("any") / "r.csv"
    path.write_text(TABLE[:start] + put + TABLE[end:])
    try:
        readings, _ = load_readings(path, car_section(car()))
    except InputError as error:
        assert error.faults and all(fault.line > 0 for fault in error.faults)
    else:
        assert reading_list(readings)
