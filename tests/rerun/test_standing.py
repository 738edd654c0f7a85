"""The car as built: old parts, settings and stop judged by the inputs of now."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from goals.reading import load_goals
from optimiser.checking import check_document
from optimiser.problem import Problem
from optimiser.ranking import feasible
from optimiser.runs import Run
from optimiser.standing import judged_anew, today_row
from tests.rerun.bench import Files, fresh, problem_of, write
from tests.rerun.edits import BASES, duties, part

pytestmark = pytest.mark.usefixtures("one_process")
Row = dict[str, Any]


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Row]]:
    """The ranking of each base."""
    found = {}
    for name, base in BASES.items():
        folder = tmp_path_factory.mktemp(name)
        run: Run = fresh(folder / "runs", "old", write(folder, base()))
        found[name] = run.ranked(50)
    return found


def loaded(folder: Path, files: Files) -> Problem:
    return problem_of(load_goals(write(folder, files)))


def judged(folder: Path, files: Files, row: Row) -> dict[str, Any]:
    return judged_anew(loaded(folder, files), row)


@pytest.mark.parametrize("base", list(BASES))
def test_nothing_changed_is_judged_as_it_was(
    base: str, rows: dict[str, list[Row]], tmp_path: Path
) -> None:
    """Every figure to the last bits, of refined settings and of those that hold nothing too."""
    problem = loaded(tmp_path, BASES[base]())
    refined = 0
    for row in rows[base]:
        found = judged_anew(problem, row)
        assert not found["gone"] and not found["missing"]
        assert found["holds"] == feasible(row)
        for duty, record in row["duties"].items():
            anew = found["duties"][duty]
            refined += "refined" in record
            assert (
                anew["holds"] == record["feasible"] and anew["shortfalls"] == record["shortfalls"]
            )
            assert anew["merit"] == pytest.approx(record["merit"], abs=1e-8)
            assert anew["stop"]["put"] == anew["stop"]["now"] == record["solved"]["stop"]
            for key, entry in record["measures"].items():
                if key != "price":
                    assert anew["measures"][key]["value"] == pytest.approx(
                        entry["value"], abs=1e-9, nan_ok=True
                    ), key
    assert refined or base == "paired"


def test_a_limit_drawn_tighter_fails_by_so_much(rows: dict[str, list[Row]], tmp_path: Path) -> None:
    row = rows["paired"][0]
    files = BASES["paired"]()
    duty = list(files["goals"]["duties"])[1]
    lock = row["duties"][duty]["measures"]["lock_inner"]["value"]
    duties(files)[1].setdefault("limits", {})["lock_inner"] = {"min": lock + 1.5}
    found = judged(tmp_path, files, row)
    assert not found["holds"]
    first, second = found["duties"].values()
    assert first["holds"] and not second["holds"] and list(second["shortfalls"]) == ["lock_inner"]
    entry = second["measures"]["lock_inner"]
    assert entry["value"] == pytest.approx(lock, abs=1e-9) and entry["limit"] is False
    # no stop can give lock that the car has not
    assert not second["holds_with_stop"]


def test_the_stop_stays_where_it_was_put(rows: dict[str, list[Row]], tmp_path: Path) -> None:
    """More toggle margin is asked than the car has: the stop would have to come in, and that is told."""
    row = rows["paired"][0]
    files = BASES["paired"]()
    for duty, record in zip(duties(files), row["duties"].values(), strict=True):
        least = record["measures"]["toggle_margin"]["value"] + 3.0
        duty["limits"] = {"toggle_margin": {"min": least}}
    problem = loaded(tmp_path, files)
    seen = 0
    for name, record in judged_anew(problem, row)["duties"].items():
        put = row["duties"][name]["solved"]["stop"]
        assert record["stop"]["put"] == put
        if record["stop"]["now"] < put:
            seen += 1
            assert not record["holds"] and record["holds_with_stop"]
    assert seen


def test_what_the_files_no_longer_know_is_named(rows: dict[str, list[Row]], tmp_path: Path) -> None:
    row = next(r for r in rows["paired"] if r["parts"]["knuckle"] == "slim")
    files = BASES["paired"]()
    files["parts"]["stations"]["knuckle"].pop(1)
    found = judged(tmp_path / "part", files, row)
    assert found["gone"] == ["knuckle slim is no longer in the parts file"]
    assert not found["holds"] and not found["duties"]

    files = BASES["paired"]()
    part(files, "slim")["fits"] = {"not_with": [row["parts"]["lower_arm"]]}
    found = judged(tmp_path / "apart", files, row)
    assert found["gone"] == ["the parts file now says that these parts cannot be combined"]
    assert not found["holds"] and len(found["duties"]) == 2

    files = BASES["paired"]()
    files["goals"]["duties"]["wet"] = {"targets": {"camber": {"value": -1, "tolerance": 1}}}
    found = judged(tmp_path / "duty", files, row)
    assert found["missing"] == ["wet"] and not found["holds"]


def test_settings_out_of_reach_are_named(rows: dict[str, list[Row]], tmp_path: Path) -> None:
    row = rows["alone"][0]
    set_to = {name: r["settings"]["lower_arm"]["length"] for name, r in row["duties"].items()}
    files = BASES["alone"]()
    length = part(files, "threaded")["adjusts"]["length"]
    low, high = length["range"]
    middle = max(set_to.values())
    length["range"] = [middle + 1.0, high + 20.0] if middle < high else [low, high - 1.0]
    length["step"] = 1.0
    del length["fine"]
    gone = judged(tmp_path, files, row)["gone"]
    assert gone and all(
        "lower arm length" in words and "outside its range" in words for words in gone
    )


def test_a_ride_height_that_is_not_asked_any_more(
    rows: dict[str, list[Row]], tmp_path: Path
) -> None:
    row = rows["alone"][0]
    files = BASES["alone"]()
    name, was = next((n, r["solved"]["lowered_by"]) for n, r in row["duties"].items())
    duties(files)[0]["lowered_by"] = was + 7.0
    found = judged(tmp_path, files, row)
    assert found["gone"] == [f"{name}: stands {was:g} mm lowered, the goals now ask {was + 7.0:g}"]
    # it is judged where it stands all the same
    assert found["duties"][name]["solved"]["lowered_by"] == pytest.approx(was)


def test_the_swap_is_held_against_the_goals_of_now(
    rows: dict[str, list[Row]], tmp_path: Path
) -> None:
    row = next(r for r in rows["paired"] if r["pairing"] and r["pairing"]["differs"])
    files = BASES["paired"]()
    swap = judged(tmp_path / "same", files, row)["swap"]
    assert swap["holds"] and swap["minutes"] == row["pairing"]["minutes"] and not swap["barred"]
    files["goals"]["changeover"]["minutes"] = {"max": max(0.0, row["pairing"]["minutes"] - 1.0)}
    found = judged(tmp_path / "quick", files, row)
    assert not found["swap"]["holds"] and not found["holds"]
    files["goals"]["changeover"] = {"allow": []}
    swap = judged(tmp_path / "barred", files, row)["swap"]
    assert sorted(swap["barred"]) == sorted(row["pairing"]["differs"])


def test_todays_car_is_judged_as_check_judges_it(tmp_path: Path) -> None:
    problem = loaded(tmp_path, BASES["paired"]())
    row, document = today_row(problem), check_document(problem)
    for duty, record in document["duties"].items():
        assert row["duties"][duty]["measures"] == record["measures"]
        assert row["duties"][duty]["merit"] == record["merit"]
