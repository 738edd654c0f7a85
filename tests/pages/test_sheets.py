"""The bench sheet as a page and on paper: complete, on one or two pages, and saying what the ledger says."""

from __future__ import annotations

import io
import re
from pathlib import Path
from typing import Any

import html5lib
import numpy as np
import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from kinematics.measures import MEASURES
from optimiser.adjuster_effects import effects_of
from optimiser.bench import DutyBench
from optimiser.evaluate import candidate
from optimiser.problem import Problem
from optimiser.runs import Run
from optimiser.sheet import CAUTIONS, Sheet
from optimiser.sheet_html import as_html
from optimiser.sheet_pdf import PAPERS
from optimiser.wing_sheet import wing_pdf
from tests.pages.browser import assert_sound, opened
from tests.search.workshop import box, duty, problem, row_of, uneven
from tests.wishbones import ROADSTER

Row = dict[str, Any]
RUNS = Path(__file__).resolve().parents[2] / "runs"
DIGEST = "0123456789abcdef" * 4
HOSTILE = "<script>alert(1)</script> & 漢字 ½ \u202e"


def sheet_of(asked: Problem, row: Row, run: str = "night", place: int = 3) -> Sheet:
    return Sheet(asked, run, place, row, {"goals.yaml": DIGEST, "car.yaml": DIGEST[::-1]}, "0.1.0")


def sample() -> Sheet:
    run = Run.find(RUNS, "sample")
    asked = run.load()
    return sheet_of(asked, run.ranked(asked.goals.search.keep)[0], "sample", 1)


SAMPLE = sample()


def made(**how: Any) -> Sheet:
    asked = problem(**how)
    return sheet_of(asked, row_of(asked))


def wishbone() -> Sheet:
    parts = box()
    del parts["stations"]["top_mount"]
    return made(parts=parts, on=ROADSTER)


def long_names() -> Sheet:
    parts = box()
    for options in parts["stations"].values():
        for part in options:
            part["name"] = f"{part.get('name', '')} of a make that is told at length {HOSTILE}"
    return made(parts=parts)


SHEETS = {
    "sample": (SAMPLE, 2),
    "one duty": (made(duties={"hill": duty(20)}), 2),
    "two duties": (made(), 2),
    "three duties": (made(duties={"hill": duty(20), "pad": duty(30), "road": duty(10)}), 4),
    "wishbone": (wishbone(), 2),
    "uneven": (made(right=uneven()), 3),
    "long names": (long_names(), 3),
    "refused": (made(duties={"hill": duty(20), "pad": duty(30, toggle_margin={"min": 80})}), 2),
    "unserved": (made(duties={"hill": duty(20), "low": duty(300)}), 2),
}


def text_of(pdf: bytes) -> str:
    """The text of all pages on one line, with the signs of a terminal."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    text = " ".join(page.extract_text() for page in pages)
    for sign, plain in (
        ("\N{MINUS SIGN}", "-"),
        ("\xa0", " "),
        ("’", "'"),
        ("≥", ">="),
        ("≤", "<="),
    ):
        text = text.replace(sign, plain)
    return " ".join(text.split())


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", SHEETS)
def test_it_takes_few_pages_of_the_right_size(name: str, paper: str) -> None:
    sheet, most = SHEETS[name]
    reader = PdfReader(io.BytesIO(wing_pdf(sheet, paper)))
    assert 1 <= len(reader.pages) <= most
    for page in reader.pages:
        box = page.mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(PAPERS[paper], abs=0.01)
        assert len(page.extract_text()) > 200
        # each page can be told from every other and says what comes first
        assert f"candidate {sheet.place}" in page.extract_text()
        assert "licensed engineer or inspector" in page.extract_text()
        assert DIGEST[:10] in page.extract_text() and "0.1.0" in page.extract_text()


@pytest.mark.parametrize("name", ["two duties", "three duties"])
def test_every_table_says_which_duty_it_is_of(name: str) -> None:
    """The third duty's tables stand by themselves, on another page."""
    sheet, _ = SHEETS[name]
    text = text_of(wing_pdf(sheet, "a4"))
    for duty_name in sheet.problem.duties:
        assert f"{duty_name} toe" in text and f"{duty_name} outer" in text
    assert "expected" not in text


def where(pdf: bytes) -> list[tuple[float, float, float, str]]:
    """Left end, foot and size of every piece of text."""
    found: list[tuple[float, float, float, str]] = []

    def note(text: str, page: Any, own: Any, _font: Any, size: float) -> None:
        if text.strip():
            x = own[4] * page[0] + own[5] * page[2] + page[4]
            y = own[4] * page[1] + own[5] * page[3] + page[5]
            found.append((x, y, size, text))

    for page in PdfReader(io.BytesIO(pdf)).pages:
        page.extract_text(visitor_text=note)
    return found


@pytest.mark.parametrize("name", ["sample", "long names", "uneven"])
def test_type_is_large_enough_and_inside_the_margins(name: str) -> None:
    for paper, (width, height) in PAPERS.items():
        for x, y, size, text in where(wing_pdf(SHEETS[name][0], paper)):
            assert 0.0 <= x <= width - 20.0 and 20.0 <= y <= height - 20.0, text
            # hashes apart, nothing is smaller than 6.6 pt
            assert size >= 6.2, text


def test_paper_says_everything_that_is_to_be_set_and_read() -> None:
    text = text_of(wing_pdf(SAMPLE, "a4"))
    for record in SAMPLE.row["duties"].values():
        solved = record["solved"]
        rod = solved["tie_rod"]
        told = [f"{solved['stop']:.1f}", f"{rod['length']:.1f}", f"{rod['threads_showing']:.1f}"]
        told += [
            f"{record['measures'][name]['value']:.1f}"
            for name in ("camber", "caster", "lock_inner")
        ]
        for figure in told:
            assert figure in text
        for station, block in record["settings"].items():
            assert station.replace("_", " ") in text
            for value in block.values():
                if isinstance(value, (int, float)):
                    assert f"{value:g}" in text
    for part in SAMPLE.build.parts.values():
        if part.id != "as_is":
            assert part.id in text
    for caution in CAUTIONS:
        assert caution in text
    for words in (
        "Torque and locking",
        "Bump-steer gauge",
        "Turn plates",
        "signature",
        "What one step does",
    ):
        assert words in text
    assert "One flat of the tie rod" in text
    assert re.search(r"Both tie rods \d+\.\d flats (longer|shorter)", text)


@pytest.mark.parametrize(
    ("solved", "warning"),
    [
        ({"adjuster": None, "threads_showing": None}, "NO ADJUSTER IN THE BOX FITS"),
        ({"threads_showing": 2.0}, "FEWER THAN TWO THREADS SHOW"),
    ],
)
def test_what_forbids_to_assemble_is_on_paper_too(solved: Row, warning: str) -> None:
    asked = problem()
    row = row_of(asked)
    for paper in PAPERS:
        assert warning not in text_of(wing_pdf(sheet_of(asked, row), paper))
    row["duties"]["pad"]["solved"]["tie_rod"] |= solved
    sheet = sheet_of(asked, row)
    assert warning in sheet.text()
    for paper in PAPERS:
        assert f"pad: {warning}" in text_of(wing_pdf(sheet, paper))


def test_the_stop_is_told_in_full_on_paper() -> None:
    plain = " ".join(SAMPLE.text().split())
    paper = text_of(wing_pdf(SAMPLE, "a4"))
    told = re.findall(r"SET THE STOP .*? before driving\.", plain)
    assert len(told) == len(SAMPLE.benches)
    for words in told:
        assert words in paper


def test_gauge_readings_on_paper_are_those_of_the_text() -> None:
    """The text sheet's own figures are held against the geometry in tests/search/test_sheet.py."""
    paper = text_of(wing_pdf(SAMPLE, "letter"))
    plain = SAMPLE.text()
    for part in plain.split("\nDuty: ")[1:]:
        table = part.split("\nBump-steer gauge, expected\n")[1]
        readings = re.findall(r"^ +(-?\d+) +([+-]?\d\.\d\d) +(-?\d+\.\d) ", table, re.MULTILINE)
        assert len(readings) == 12
        for _, toe, camber in readings:
            assert toe in paper and camber in paper


def test_a_refused_candidate_is_marked_on_every_page() -> None:
    sheet, _ = SHEETS["refused"]
    for page in PdfReader(io.BytesIO(wing_pdf(sheet, "a4"))).pages:
        assert "NOT TO BE BUILT" in page.extract_text()
    assert "DOES NOT HOLD EVERY LIMIT" in text_of(wing_pdf(sheet, "a4"))
    assert "NOT TO BE BUILT" not in text_of(wing_pdf(SAMPLE, "a4"))
    page = as_html(sheet.blocks(), "0.1.0")
    assert 'class="loud"' in page and "DOES NOT HOLD EVERY LIMIT" in page


def test_the_same_candidate_gives_the_same_bytes() -> None:
    assert wing_pdf(SAMPLE, "a4") == wing_pdf(sample(), "a4")
    assert as_html(SAMPLE.blocks(), "1") == as_html(sample().blocks(), "1")


@pytest.mark.parametrize("name", ["sample", "uneven", "wishbone"])
def test_what_one_step_does_is_what_the_model_says_of_it(name: str) -> None:
    """Against the settings moved by hand and judged anew, where the grid has the next step."""
    sheet = SHEETS[name][0]
    checked = 0
    for duty_name, bench in sheet.benches.items():
        record = sheet.row["duties"][duty_name]
        if "refined" in record:
            continue
        assembly = sheet.problem.assembly(sheet.build, duty_name)
        assert assembly is not None
        wanted = sheet.problem.demands(assembly, duty_name)
        before = candidate(assembly, wanted, tuple(record["positions"]))["measures"]
        for effect in effects_of(bench):
            (column,) = [
                i
                for i, d in enumerate(assembly.dimensions)
                if (d.station.value, d.name) == (effect.station, effect.name)
            ]
            values = assembly.dimensions[column].values
            at = float(values[record["positions"][column]]) + effect.step
            on_grid = [i for i, v in enumerate(values) if abs(float(v) - at) < 1e-9]
            if not on_grid:
                continue
            (position,) = on_grid
            moved = list(record["positions"])
            moved[column] = position
            after = candidate(assembly, wanted, tuple(moved))["measures"]
            for measure in ("camber", "caster", "roll_centre_height", "lock_inner", "track_width"):
                if "sides" in after[measure]:
                    continue
                change = after[measure]["value"] - before[measure]["value"]
                assert effect.changes[measure] == pytest.approx(change, abs=1e-9)
            checked += 1
    assert checked or name == "sample"


def test_the_first_steps_are_the_most_useful() -> None:
    for bench in SAMPLE.benches.values():
        sizes = [effect.size for effect in effects_of(bench)]
        assert sizes == sorted(sizes, reverse=True) and sizes[-1] > 0.0
        for effect in effects_of(bench):
            largest = max(
                abs(v) / MEASURES[n].scale for n, v in effect.changes.items() if np.isfinite(v)
            )
            assert effect.size == largest


def test_a_shim_under_the_outer_joint_does_what_the_trade_says() -> None:
    """About 0.0016 deg/mm of bump steer a mm of the outer end's height: common practice, no source."""
    bench: DutyBench = next(iter(SAMPLE.benches.values()))
    (effect,) = [e for e in effects_of(bench) if e.station == "tie_rod_stud"]
    slope = abs(effect.changes["bump_steer_slope"] / effect.step)
    assert 0.0008 < slope < 0.0032


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("sheet") / "sheet.html"
    file.write_text(as_html(SAMPLE.blocks(), "0.1.0"), encoding="utf-8")
    return file


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("width", [390, 768, 1440])
def test_the_page_is_sound_at_every_width(
    browser: Browser, page: Path, width: int, dark: bool
) -> None:
    with opened(browser, page, width, dark=dark) as seen:
        assert_sound(seen)


def test_the_page_has_drawings_blanks_and_cautions(page: Path) -> None:
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(page.read_text(encoding="utf-8"))
    assert len([e for e in tree.iter() if str(e.tag).endswith("svg")]) == 4
    assert len([e for e in tree.iter("td") if e.get("class") == "blank"]) > 100
    assert len([e for e in tree.iter("input") if e.get("type") == "checkbox"]) > 15
    shown = " ".join("".join(tree.itertext()).split())
    for caution in CAUTIONS:
        assert caution.replace("'", "’") in shown


def test_names_in_any_script_are_text() -> None:
    sheet = long_names()
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    tree = parser.parse(as_html(sheet.blocks(), "0.1.0"))
    assert not list(tree.iter("script"))
    # what the paper's type has no sign for stands there as a box
    assert "alert(1)" in text_of(wing_pdf(sheet, "a4"))
