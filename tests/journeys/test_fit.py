"""A builder holds the model against the car, corrects it, and checks a build on its set-down."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from goals.duties import Limit
from kinematics import rows as k
from kinematics.measures.steer import LEFT_TURN
from kinematics.scene import STRAIGHT
from optimiser.bench import DutyBench, gauge, plates
from optimiser.correction import groups
from optimiser.point_space import PointSpace
from optimiser.reading_list import Reading
from optimiser.refine import as_set
from optimiser.runs import Run
from optimiser.setdown import SetDown, declared, with_dimension
from tests.cars import CARS, Car
from tests.gauges import Gauges
from tests.journeys.garage import run, write_garage


def plain(value: Any) -> Any:
    """Without what only Python knows, as a file has it."""
    return json.loads(json.dumps(value))


def write_readings(path: Path, car: Car, seed: int | None = 1) -> None:
    rng = None if seed is None else np.random.default_rng(seed)
    path.write_text(yaml.safe_dump(plain(Gauges(car, rng).file(base=300.0))))


def off_by_a_little() -> Car:
    """The car as it is: the outer tie-rod joint 0.8 mm higher than its file says."""
    return CARS[0].moved(tie_rod_outer=(0.0, 0.0, 0.8))


@pytest.fixture(scope="module")
def garage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A garage whose goals name sound readings, searched as run 'one'."""
    folder = tmp_path_factory.mktemp("garage")
    write_garage(folder)
    write_readings(folder / "mine.yaml", off_by_a_little())
    with (folder / "goals.yaml").open("a") as file:
        file.write("readings: mine.yaml\n")
    outcome = run("search", "goals.yaml", "--name", "one", cwd=folder)
    assert outcome.code == 0, outcome.err
    assert "the car file was held against 68 readings of its car: reproduces" in outcome.err
    return folder


def test_fit_corrects_the_car_and_keeps_the_old_file(garage: Path) -> None:
    before = (garage / "car.yaml").read_bytes()
    outcome = run("fit", "goals.yaml", "mine.yaml", "--json", cwd=garage)
    assert outcome.code == 0, outcome.err
    document = outcome.document
    assert document["reproduces"] and not document["faults"] and not document["slips"]
    assert document["readings"] == 68
    kinds = {each["kind"]: each for each in document["after"]}
    was = {each["kind"]: each for each in document["before"]}
    assert kinds["dials"]["unit"] == "mm"
    assert kinds["dials"]["rms"] < 0.07 < 0.1 < was["dials"]["rms"]
    assert (garage / "car.yaml").read_bytes() == before
    new = garage / Path(document["car_file"]).name
    assert new.name.startswith("car.fitted") and document["readings_digest"][:16] in new.read_text()
    goals = (garage / "goals.yaml").read_text().replace("car: car.yaml", f"car: {new.name}")
    (garage / "again.yaml").write_text(goals)
    check = run("check", "again.yaml", "--json", cwd=garage).document["model_check"]
    told = {each["kind"]: each["rms"] for each in check["kinds"]}
    assert check["reproduces"] and told["dials"] == pytest.approx(kinds["dials"]["rms"], abs=0.005)
    best = [each["gain"] for each in document["next_readings"]]
    assert best == sorted(best, reverse=True) and best[0] > 0.0


def test_fit_prints_for_people_in_eighty_columns(garage: Path) -> None:
    outcome = run("fit", "goals.yaml", "mine.yaml", cwd=garage)
    assert outcome.code == 0
    assert max(len(line) for line in outcome.out.splitlines()) <= 80
    for words in (
        "The model reproduces this car with the points fitted.",
        "toe by dials, mm",
        "tie rod outer z",
        "What to read next",
        "No slip of the tape shows.",
        "the fitted car: car.fitted",
    ):
        assert words in outcome.out
    assert "\x1b[" not in outcome.out


def test_the_verdict_goes_with_run_rank_show_and_sheet(garage: Path) -> None:
    state = json.loads((garage / "runs" / "one" / "run.json").read_text())
    check = state["model_check"]
    assert check["reproduces"] and check["readings"] == 68
    saved = garage / "runs" / "one" / "inputs" / "readings.yaml"
    assert saved.read_bytes() == (garage / "mine.yaml").read_bytes()
    assert run("rank", "one", "--json", cwd=garage).document["model_check"] == check
    assert run("show", "one", "1", "--json", cwd=garage).document["model_check"] == check
    for command in (("rank", "one"), ("show", "one", "1"), ("sheet", "one", "1")):
        out = " ".join(run(*command, cwd=garage).out.split()).lower()
        assert "car file was held against 68 readings of its car: reproduces toe by dials" in out
    assert "model_check" not in json.loads((garage / "runs" / "one" / "ranked.json").read_text())


def test_a_car_that_is_not_reproduced_is_told_everywhere(tmp_path: Path) -> None:
    write_garage(tmp_path)
    write_readings(tmp_path / "mine.yaml", CARS[0].moved(tie_rod_outer=(0.0, 0.0, 9.0)))
    with (tmp_path / "goals.yaml").open("a") as file:
        file.write("readings: mine.yaml\n")
    outcome = run("fit", "goals.yaml", "mine.yaml", cwd=tmp_path)
    assert outcome.code == 1
    assert "DOES NOT REPRODUCE ITS CAR: a ranking should not be believed." in outcome.out
    assert "Suspect 1:" in outcome.out
    assert "fit GOALS READINGS" not in outcome.out
    check = run("check", "goals.yaml", cwd=tmp_path)
    assert check.code == 0
    words = " ".join(check.out.split())
    assert "DOES NOT REPRODUCE ITS CAR" in words and "a ranking should not be believed" in words


def test_without_readings_it_is_said_that_nothing_was_held_against_the_model(
    tmp_path: Path,
) -> None:
    write_garage(tmp_path)
    check = run("check", "goals.yaml", "--json", cwd=tmp_path).document["model_check"]
    assert check["held"] is False and check["reproduces"] is None
    assert check["words"] == "the model was not held against readings of this car"


def test_bad_readings_end_in_words_and_code_2(garage: Path) -> None:
    (garage / "bad.csv").write_text("kind,wheel,value\ncastor,left,4\n")
    outcome = run("fit", "goals.yaml", "bad.csv", cwd=garage)
    assert outcome.code == 2
    assert "bad.csv:2:1: unknown kind 'castor'" in outcome.err
    assert "caster" in outcome.err
    assert run("setdown", "one", "1", "bad.csv", cwd=garage).code == 2
    (garage / "mine.csv").write_text("kind,wheel,value\ncaster,left,4\n")
    outcome = run("setdown", "one", "1", "mine.csv", cwd=garage)
    assert outcome.code == 2 and "which duty" in outcome.err
    outcome = run("setdown", "one", "1", "mine.csv", "--duty", "hil", cwd=garage)
    assert outcome.code == 2 and "perhaps you meant 'hill'" in outcome.err


def bench_of(garage: Path) -> DutyBench:
    found = Run.find(garage / "runs", "one")
    problem = found.load()
    row = found.ranked(1)[0]
    return DutyBench.of(problem, problem.space.build(row["build"]), "hill", row["duties"]["hill"])


def test_a_build_as_its_sheet_says_passes(garage: Path) -> None:
    """The readings are what the bench sheet tells people to expect, as they would write them down."""
    bench = bench_of(garage)
    scene = bench.scene
    assert scene is not None
    expected = gauge(scene, "left")
    lines = ["kind,wheel,turn,at,value", "duty,,,,hill"]
    for reading in expected:
        lines.append(f"camber,left,,{reading.travel:g},{reading.camber:.2f}")
        if reading.travel:
            lines.append(f"toe_change,left,,{reading.travel:g},{reading.toe:.3f}")
    for plate in plates(scene, LEFT_TURN):
        if np.isfinite(plate.outer):
            lines.append(f"turn_plate,,left,{plate.inner:.2f},{plate.outer:.2f}")
    lines.append(f"toe,right,,,{bench.record['solved']['toe']:.2f}")
    (garage / "built.csv").write_text("\n".join(lines) + "\n")
    outcome = run("setdown", "one", "1", "built.csv", cwd=garage)
    assert outcome.code == 0, outcome.err
    assert "each as expected." in outcome.out and "LOOK" not in outcome.out
    assert max(len(line) for line in outcome.out.splitlines()) <= 80


def test_toe_that_is_off_is_corrected_by_flats(garage: Path) -> None:
    """Half a degree of toe-in on one wheel: the rod that takes it away, by the sheet's own toe of a flat."""
    bench = bench_of(garage)
    toe = bench.record["solved"]["toe"] + 0.5
    (garage / "toe.yaml").write_text(
        yaml.safe_dump({"format": 1, "duty": "hill", "static": {"left": {"toe": toe}}})
    )
    outcome = run("setdown", "one", "1", "toe.yaml", "--json", cwd=garage)
    assert outcome.code == 1
    document = outcome.document
    assert document["look_again"] == 1 and not document["passes"]
    (reading,) = document["readings"]
    assert reading["difference"] == pytest.approx(0.5) and reading["bound"] < 0.1
    (group,) = document["groups"]
    first = group["corrections"][0]
    assert first["station"] == "tie_rod" and first["side"] == "left side"
    # closed form: a rod dL longer turns the knuckle by dL / (U . (arm x rod)), and toe by U's height
    assert bench.scene is not None
    raw = bench.scene.states("left", [STRAIGHT]).raw[:, 0, 0]
    axis, ball, outer = (raw[row : row + 3] for row in (k.AXIS, k.BALL_JOINT, k.ROD_OUTER))
    rod = outer - bench.scene.left[k.RACK_END : k.RACK_END + 3, 0]
    lever = axis @ np.cross(outer - ball, rod / np.linalg.norm(rod))
    per_mm = abs(float(np.degrees(axis[2] / lever)))
    kit = bench.rods()["left"]
    # both ends screw out together, so a turn is twice the pitch
    step = 2.0 * kit["pitch"] / kit["flats"] if "pitch" in kit else 1.0
    wanted = 0.5 / (step * per_mm)
    tolerance = 0.5 if "pitch" in kit else 0.1
    assert abs(first["to"]) == pytest.approx(wanted, abs=tolerance + 0.05 * wanted)
    assert first["passes"]


def test_a_stack_that_is_wrong_is_named(garage: Path) -> None:
    """The car is built with another stack than the sheet says; that is what the readings tell."""
    bench = bench_of(garage)
    at, dim = next((i, d) for i, d in enumerate(bench.assembly.dimensions) if d.kind == "stack")
    whole = declared(bench, dim)
    here = whole.values.index(dim.values[bench.positions[at]])
    far_off = max(range(whole.size), key=lambda i: abs(whole.values[i] - whole.values[here]))
    built = with_dimension(bench, at, whole)
    row = np.array([bench.positions])
    row[0, at] = far_off
    scene = built.scene(row)
    run_of = [[r.travel, r.toe] for r in gauge(scene, "left") if r.travel]
    file = {"format": 1, "duty": "hill", "gauge": [{"wheel": "left", "toe": run_of}]}
    (garage / "stack.yaml").write_text(yaml.safe_dump(file))
    outcome = run("setdown", "one", "1", "stack.yaml", "--json", cwd=garage)
    assert outcome.code == 1
    (group,) = outcome.document["groups"]
    # readings made with the stack elsewhere read as if the stack stood there
    first = group["missets"][0]
    assert (first["station"], first["setting"]) == (dim.station.value, dim.name)
    assert first["stands"] == whole.values[here]
    assert first["reads_as"] == whole.values[far_off]
    assert first["left"] < 1e-6
    for each in group["corrections"]:
        assert each["left"] <= 0.7
    text = run("setdown", "one", "1", "stack.yaml", cwd=garage).out
    words = " ".join(text.split())
    assert "reads as if tie rod stud, under joint stood at" in words
    assert "Never drive on a fastener that is not torqued and locked." in text


def test_sound_builds_seldom_ask_for_another_look(garage: Path) -> None:
    """Builds whose points and readings are off as told: one set-down in twenty may ask for another look."""
    rng = np.random.default_rng(9)
    bench = bench_of(garage)
    every = tuple(
        Reading(kind, "left", 0.0, sigma, "deg", travel)
        for kind, sigma in (("toe_change", 0.015), ("camber", 0.05))
        for travel in (-40.0, -20.0, 20.0, 40.0)
    )
    goals = bench.problem.goals
    tolerances = goals.tolerances.model_copy(update={"settings": 0.0})
    problem = replace(bench.problem, goals=goals.model_copy(update={"tolerances": tolerances}))
    down = SetDown(replace(bench, problem=problem), every, None)
    space = PointSpace.of(problem.goals, problem.car)
    looks, squares = 0, []
    for shift in rng.multivariate_normal(np.zeros(space.points), down.covariance, 60):
        moved = replace(problem, car=space.shifted(shift))
        assembly = moved.assembly(bench.build, "hill")
        assert assembly is not None
        own, positions = as_set(assembly, bench.record)
        true = down.predicted(own.scene(np.array([positions])))[:, 0]
        read = true + rng.normal(size=len(every)) * [r.sigma for r in every]
        looks += bool((np.abs(read - down.expected) > down.bound).any())
        squares.append(((read - down.expected) / down.deviation) ** 2)
    # more than 8 of 60 at one in twenty come one time in two hundred (binomial)
    assert looks <= 8
    # each reading's deviation is true: mean square 1, four standard errors of 60 draws
    assert np.abs(np.mean(squares, axis=0) - 1.0).max() < 4.0 * np.sqrt(2.0 / 60.0)
    given = np.diag(space.sigma**2)
    # what the readings of the car told is taken off
    assert np.trace(down.covariance) < 0.98 * np.trace(given)


def test_a_correction_that_breaks_a_limit_is_not_proposed(garage: Path) -> None:
    bench = bench_of(garage)
    scene = bench.scene
    assert scene is not None
    states = scene.states("left", [STRAIGHT])
    # the slide can be moved one way only, so one of these can be corrected
    sets = [
        (Reading("caster", "left", float(states.caster[0, 0]) + off, 0.1, "deg"),)
        for off in (0.9, -0.9)
    ]
    tried = {every: groups(SetDown(bench, every, None))[0].corrections for every in sets}
    every, free = max(tried.items(), key=lambda item: len(item[1]))
    assert free and all(not c.breaks for c in free)
    # what would correct caster moves the steering axis in the other view, or the wheel in its arch
    goals = bench.problem.goals
    duty = goals.duties["hill"]
    centre = float(states.row(k.CENTRE)[0, 0])
    kingpin = float(states.kingpin_inclination[0, 0])
    still = {
        "wheel_centre_x": Limit(min=centre - 1e-6, max=centre + 1e-6),
        "kingpin_inclination": Limit(min=kingpin - 1e-6, max=kingpin + 1e-6),
        "mechanical_trail": Limit(min=-1e3, max=float(states.scrub_and_trail()[1][0, 0]) + 1e-6),
    }
    strict = duty.model_copy(update={"limits": {**duty.limits, **still}})
    duties = {**goals.duties, "hill": strict}
    problem = replace(bench.problem, goals=goals.model_copy(update={"duties": duties}))
    held = groups(SetDown(replace(bench, problem=problem), every, None))[0].corrections
    assert free[0].station not in {c.station for c in held}


def test_the_schema_of_readings_is_printed(tmp_path: Path) -> None:
    document = json.loads(run("schema", "readings", cwd=tmp_path).out)
    assert {"gauge", "turn_plates", "static", "uncertainty"} <= set(document["properties"])


def test_help_says_what_the_exit_codes_mean(tmp_path: Path) -> None:
    assert "Exit code 0: it reproduces its car; 1: it does not" in " ".join(
        run("fit", "--help", cwd=tmp_path).out.split()
    )
    assert "1: look again" in " ".join(run("setdown", "--help", cwd=tmp_path).out.split())
