"""Files that are longer than anyone writes, in one place: refused in words, or worked through soon."""

from __future__ import annotations

import copy
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from goals.faults import InputError
from goals.parts import Adjuster, Stack
from goals.reading import load_goals
from goals.readings_csv import read_table
from goals.stacks import MOST_STEPS, piles, steps_to_stack, ways_to_stack
from optimiser.errors import TOGETHER
from optimiser.problem import Problem
from optimiser.space import adjuster_settings
from tests.faults import every_field, growing
from tests.search.catalogues import random_problem

# What each of these took before was minutes to hours; now it is a second or two on a slow machine.
SECONDS = 30.0


def told(tmp_path: Path, **changed: Any) -> list[str]:
    """What is found wrong with the strut car's files, some of them changed."""
    growing.lay(tmp_path, {**every_field.plain()[0], **changed})
    try:
        load_goals(tmp_path / "goals.yaml")
    except InputError as error:
        return [str(fault).split(": ", 1)[1] for fault in error.faults]
    return []


@pytest.mark.parametrize("line", [" " * 200_000 + '"x', '"a"' + " " * 200_000 + "x", '"' * 200_001])
def test_a_line_of_a_table_with_a_stray_quote_is_told_at_once(line: str) -> None:
    began = time.monotonic()
    document = read_table("r.csv", f"kind,value\n{line}\n".encode())
    assert time.monotonic() - began < SECONDS
    assert [fault.found for fault in document.faults] == ["a quote that is not closed"]


# Kind of file, the way to a list or mapping, and how many of it are taken.
LONG: list[tuple[str, growing.Trail, int]] = [
    ("goals", ("duties",), 30),
    ("goals", ("duties", "lane", "limits", "camber"), 30),
    ("goals", ("duties", "lane", "targets", "toe_out_on_turns", "points"), 100),
    ("car", ("obstacles",), 60),
    ("car", ("obstacles", 1, "points"), 30),
    ("car", ("wheel", "barrel"), 100),
    ("car", ("brake", "profile"), 100),
    ("car", ("top_mount_outline", "polygon"), 100),
    ("parts", ("stations", "knuckle", 1, "obstacles"), 60),
    ("parts", ("stations", "knuckle", 1, "fits", "not_with"), 1000),
    ("parts", ("stations", "rack_mount", 0, "choices"), 24),
    ("parts", ("stations", "rack_mount", 0, "choices", "thick_side"), 500),
    ("parts", ("stations", "lower_arm", 1, "adjusts"), 24),
    ("parts", ("stations", "tie_rod", 0, "rod", "adjusters"), 100),
]


@pytest.mark.parametrize(("kind", "trail", "most"), LONG, ids=lambda it: str(it)[:60])
def test_a_list_that_no_one_writes_so_long(
    tmp_path: Path, kind: str, trail: growing.Trail, most: int
) -> None:
    files = every_field.plain()[0]
    long = growing.grown(files[kind], trail, most + 1)
    faults = told(tmp_path, **{kind: long})
    assert any(fault.endswith(f"expected at most {most} in it") for fault in faults), faults


def test_a_station_with_more_parts_than_anyone_has(tmp_path: Path) -> None:
    parts = {"format": 1, "stations": {"knuckle": [{"id": f"k{n}"} for n in range(1001)]}}
    (fault,) = told(tmp_path, parts=parts)
    assert fault == "a list of 1001 for stations.knuckle; expected at most 1000 in it"


def test_a_point_of_many_numbers_is_still_told_as_no_point(tmp_path: Path) -> None:
    car = copy.deepcopy(every_field.plain()[0]["car"])
    car["points"]["arm_front"] = [1, 2, 3, 4]
    (fault,) = told(tmp_path, car=car)
    assert "points.arm_front; expected" in fault and "at most" not in fault


@pytest.mark.parametrize(
    ("pieces", "usable"),
    [
        ({0.1: 399_000}, 20_000),
        ({0.1: 399_000}, None),
        ({0.1: 800, 0.37: 900}, 200),
        ({1 + each / 7: 4 for each in range(11)}, 30),
    ],
)
def test_a_box_of_pieces_that_makes_too_many_stacks(
    tmp_path: Path, pieces: dict[float, int], usable: float | None
) -> None:
    parts = copy.deepcopy(every_field.plain()[0]["parts"])
    (washers,) = parts["stations"]["tie_rod_stud"]
    washers["stack"].update(pieces=pieces, usable=usable)
    began = time.monotonic()
    faults = told(tmp_path, parts=parts)
    assert time.monotonic() - began < SECONDS
    assert faults == [
        f"{sum(pieces.values())} pieces, which make too many different stacks; "
        "expected fewer kinds, or fewer of each"
    ]


def test_the_work_of_a_stack_is_never_told_as_less_than_it_is() -> None:
    """Ways, times pieces of a side, times heights that they make below the stud's end, plainly counted."""
    pieces = {1.0: 4, 2.5: 4, 5.0: 6}
    sums = {1.0 * a + 2.5 * b + 5.0 * c for a in range(3) for b in range(3) for c in range(4)}
    ways = ways_to_stack(pieces)
    assert steps_to_stack(pieces, None) == ways * 7
    assert steps_to_stack(pieces, 12.0) == ways * 7 * sum(height <= 12.0 for height in sums)
    assert steps_to_stack({0.01: 390_000}, 20_000.0) > MOST_STEPS


@pytest.mark.parametrize(("step", "positions"), [(1 / 1999, 2000), (0.9999 / 1999, 2000)])
def test_as_many_positions_as_may_be(tmp_path: Path, step: float, positions: int) -> None:
    """Neither rounding nor a last step that falls short of the range's end is told as one too many."""
    parts = copy.deepcopy(every_field.plain()[0]["parts"])
    adjuster = parts["stations"]["spring_seat"][0]["adjusts"]["turned_down"]
    adjuster.update(range=[0, 1], step=step)
    assert told(tmp_path, parts=parts) == []
    assert adjuster_settings(Adjuster(**adjuster)).size == positions
    adjuster["step"] = 1 / 2000
    (fault,) = told(tmp_path, parts=parts)
    assert "makes 2001 positions" in fault


def test_a_stack_that_is_asked_for_again_is_the_same() -> None:
    stack = Stack(point="tie_rod_outer", along=(0, 0, -1), pieces={1: 4, 2: 4}, usable=6, slack=1.0)
    first = piles(stack)
    kept = list(first)
    first.clear()
    assert kept and piles(stack) == kept


def test_parts_that_add_to_what_the_last_of_thousands_tells(tmp_path: Path) -> None:
    """What anyone tells is looked up once, not anew for each that adds to it."""
    parts = copy.deepcopy(every_field.plain()[0]["parts"])
    car = copy.deepcopy(every_field.plain()[0]["car"])
    del car["hub"]["spigot"]
    many = [{"id": f"p{n}", "adds": {"hub": {"spigot": 0.1}}} for n in range(900)]
    parts["stations"] = {"steering_stop": many, "ball_joint_stub": copy.deepcopy(many)}
    for number, part in enumerate(parts["stations"]["ball_joint_stub"]):
        part["id"] = f"q{number}"
    parts["stations"]["wheel"] = [{"id": "last", "sets": {"hub": {"spigot": 63.4}}}]
    began = time.monotonic()
    assert told(tmp_path, parts=parts, car=car) == []
    assert time.monotonic() - began < SECONDS


def test_errors_are_drawn_as_they_are_asked_for() -> None:
    errors = random_problem(2).errors
    every = errors.draws(range(len(errors.names)))
    alone = random_problem(2).errors
    np.testing.assert_array_equal(alone.draws([TOGETHER + 1]), every[[TOGETHER + 1]])
    assert len(alone._known) == 1


def test_what_is_drawn_of_many_adjusters_is_what_one_car_has(tmp_path: Path) -> None:
    parts = copy.deepcopy(every_field.plain()[2]["parts"])
    adjuster = {"along": {"arm_front": [0, 1, 0]}, "range": [0, 1], "step": 1}
    parts["stations"]["steering_stop"] = [
        {"id": f"p{n}", "adjusts": {f"a{n} {m}": adjuster for m in range(24)}} for n in range(20)
    ]
    growing.lay(tmp_path, {**every_field.plain()[2], "parts": parts})
    loaded = load_goals(tmp_path / "goals.yaml")
    errors = Problem(loaded.goals, loaded.car, loaded.parts).errors
    assert len(errors.names) > 900
    errors.draws([0, len(errors.names) - 1])
    assert len(errors._known) == 2


def test_more_workers_than_any_machine_has(tmp_path: Path) -> None:
    goals = yaml.safe_load(every_field.STRUT_GOALS)
    goals["search"]["workers"] = 100_000
    (fault,) = told(tmp_path, goals=goals)
    assert fault == "100000 for search.workers; expected 256 or less"
