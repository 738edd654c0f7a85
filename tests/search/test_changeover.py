"""Minutes of a swap, what it may touch, and how the bench sheet and the tables tell it."""

from __future__ import annotations

import re
from typing import Any

import pytest
from rich.console import Console

from goals.duties import Changeover, Duty
from goals.parts import Station
from optimiser.bench import DutyBench, gauge
from optimiser.builds import search_build
from optimiser.changeover import Work
from optimiser.problem import Problem
from optimiser.ranking import feasible, merit, rank
from optimiser.runs import candidate_document
from optimiser.tables import print_show
from tests.search.test_sheet import sheet
from tests.search.workshop import box, duty, problem

BEHIND = {"tie_rod_stud": True, "top_mount": False, "spring_seat": True}
MINUTES = {"tie_rod": 20.0, "tie_rod_stud": 15.0, "top_mount": 25.0, "spring_seat": 12.0}


def shop(
    allow: list[str], most: float | None = None, toes: tuple[float, float] = (0.1, 0.1)
) -> Problem:
    """The workshop's box with minutes and wheels to take off, and duties of one ride height."""
    parts = box()
    parts["wheel_off"] = 4
    for name, listed in parts["stations"].items():
        for part in listed:
            if name in MINUTES:
                part["minutes"] = MINUTES[name]
            part["behind_wheel"] = BEHIND.get(name)
    low, high = (duty(20, toe=toe) for toe in toes)
    high["targets"] = {"camber": {"value": -2.0, "tolerance": 0.4}}
    made = problem({"hill": low, "pad": high}, parts=parts)
    limit: dict[str, Any] = {} if most is None else {"minutes": {"max": most}}
    change = Changeover.model_validate({"allow": allow, **limit})
    return Problem(made.goals.model_copy(update={"changeover": change}), made.car, made.parts)


def work_of(asked: Problem) -> Work:
    build = asked.space.build(asked.space.builds - 1)
    ready = {d: asked.assembly(build, d) for d in asked.duties}
    change = asked.goals.changeover
    assert change is not None
    return Work.of(build, asked.parts, change, {d: a for d, a in ready.items() if a is not None})


@pytest.mark.parametrize(
    ("stations", "minutes"),
    [
        ([], 0),
        # the rods are set anew once, whatever asks for it; both front wheels come off once
        (["top_mount"], 25 + 20),
        (["tie_rod_stud"], 15 + 20 + 2 * 4),
        (["tie_rod_stud", "top_mount"], 15 + 25 + 20 + 2 * 4),
        (["tie_rod_stud", "top_mount", "spring_seat"], 15 + 25 + 12 + 20 + 2 * 4),
    ],
)
def test_minutes_count_what_is_undone_once(stations: list[str], minutes: float) -> None:
    swap = work_of(shop(list(MINUTES))).swap([Station(name) for name in stations])
    assert swap.minutes == minutes
    assert swap.resets_rod == bool(stations)


def test_a_toe_of_its_own_resets_the_rods_and_what_is_not_told_is_named() -> None:
    work = work_of(shop(["rack_mount"], toes=(0.1, -0.1)))
    assert work.swap([]).minutes == 20
    told = work.swap([Station.RACK_MOUNT])
    assert told.minutes == 20 and told.untold == (Station.RACK_MOUNT,)


def test_swaps_are_every_set_of_stations_quickest_first() -> None:
    work = work_of(shop(["tie_rod_stud", "top_mount", "wheel"], most=45))
    swaps = work.swaps()
    assert [s.minutes for s in swaps] == [0, 43, 45, 68]
    assert [work.affords(s) for s in swaps] == [True, True, True, False]


ASKED = shop(["tie_rod_stud", "top_mount"])
ROW = search_build(ASKED, 1)
TEXT = " ".join(sheet(ASKED, ROW).split())


def told(text: str, words: str) -> float:
    """The figure that stands in some words of a text."""
    found = re.search(re.escape(words).replace(r"\{\}", r"(-?[0-9.]+)"), text)
    assert found is not None, (words, text)
    return float(found.group(1))


def test_the_sheet_tells_the_steps_with_readings_of_the_duty_it_goes_to() -> None:
    assert feasible(ROW) and "top_mount" in ROW["pairing"]["differs"]
    steps = TEXT.split("Swap, hill to pad")[1].split("Swap, pad to hill")[0]
    here, there = (ROW["duties"][d]["settings"]["top_mount"]["in_out"] for d in ASKED.duties)
    assert f"top mount in out: from {here:g} mm to {there:g} mm" in steps
    figures = ROW["duties"]["pad"]["measures"]
    assert told(steps, "camber {} deg") == pytest.approx(figures["camber"]["value"], abs=0.05)
    assert told(steps, "caster {} deg") == pytest.approx(figures["caster"]["value"], abs=0.05)
    lock = figures["lock_inner"]["value"]
    assert told(steps, "inner wheel {} deg at the stop") == pytest.approx(lock, abs=0.06)
    order = ["Car on stands", "Both sides", "Both tie rods", "Check", "teering stop", "By hand"]
    places = [steps.index(words) for words in order]
    assert places == sorted(places)


def test_a_stack_is_confirmed_on_the_gauge() -> None:
    asked = shop(["tie_rod_stud"])
    low, high = asked.goals.duties.values()
    # one wants toe still over travel, the other wants it to move
    still, moving = (
        {"bump_steer": {"value": value, "tolerance": 0.05, "over": [-30, 30]}}
        for value in (0.0, 0.4)
    )
    duties = {
        "hill": low.model_copy(
            update={"targets": Duty.model_validate({"targets": moving}).targets}
        ),
        "pad": high.model_copy(update={"targets": Duty.model_validate({"targets": still}).targets}),
    }
    goals = asked.goals.model_copy(update={"duties": duties})
    asked = Problem(goals, asked.car, asked.parts)
    number = asked.space.builds - 1
    row = search_build(asked, number)
    assert row["pairing"]["differs"] == ["tie_rod_stud"]
    bench = DutyBench.of(asked, asked.space.build(number), "pad", row["duties"]["pad"])
    assert bench.scene is not None
    (reading,) = (r.toe for r in gauge(bench.scene, "left") if r.travel == 40.0)
    steps = " ".join(sheet(asked, row).split()).split("Swap, hill to pad")[1]
    change = told(steps, "toe change on the gauge {} deg at 40 mm of bump")
    assert change == pytest.approx(reading, abs=0.006)
    assert "both front wheels off" in steps


def test_minutes_and_front_stand_on_sheet_and_in_show() -> None:
    pairing = ROW["pairing"]
    assert f"A swap takes {pairing['minutes']:g} minutes" in TEXT
    assert len(pairing["front"]) > 1
    assert pairing["front"][0]["minutes"] == 0 and pairing["front"][0]["differs"] == []
    console = Console(width=80, record=True, file=None, highlight=False)
    with console.capture() as capture:
        print_show(console, ASKED, {"run": "night", **candidate_document(1, ROW)})
    shown = " ".join(capture.get().split())
    assert f"swap: {pairing['minutes']:g} minutes" in shown
    assert f"or {pairing['front'][0]['minutes']:g} minutes at merit" in shown
    assert re.search(r"each duty by itself: hill \d", shown)


def contrary(most: float | None = None, allow: list[str] | None = None) -> Problem:
    """Duties whose camber has nothing in common."""
    asked = shop(["top_mount"] if allow is None else allow, most)
    low, high = asked.goals.duties.values()
    bounds = [({"max": -1.2}, low), ({"min": -1.1}, high)]
    duties = {
        name: each.model_copy(
            update={"limits": Duty.model_validate({"limits": {"camber": bound}}).limits}
        )
        for name, (bound, each) in zip(asked.duties, bounds, strict=True)
    }
    goals = asked.goals.model_copy(update={"duties": duties})
    return Problem(goals, asked.car, asked.parts)


def test_a_swap_past_the_minutes_is_refused_by_its_minutes() -> None:
    row = search_build(contrary(most=30), 1)
    assert not feasible(row) and merit(row) is None
    assert all(each["feasible"] for each in row["duties"].values())
    assert row["pairing"]["beyond"]["minutes"] == 45
    text = " ".join(sheet(contrary(most=30), row).split())
    assert "DO NOT GO TOGETHER" in text
    assert "the quickest swap takes 45 minutes, the goals allow 30" in text
    fitting = search_build(contrary(most=45), 1)
    assert feasible(fitting) and fitting["pairing"]["minutes"] == 45
    assert [r["pairing"]["found"] for r in rank([row, fitting], 2)] == [True, False]


def test_settings_that_may_not_be_set_apart_say_so() -> None:
    row = search_build(contrary(allow=["tie_rod_stud"]), 1)
    assert not feasible(row)
    assert "static limits" in row["pairing"]["reason"]
    assert "beyond" not in row["pairing"]
