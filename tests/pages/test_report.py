"""The report page: sound, readable, quiet, and telling what the run found."""

from __future__ import annotations

import json
import re
import shutil
from collections import Counter
from itertools import pairwise
from pathlib import Path
from typing import Any

import html5lib
import pytest
import yaml
from playwright.sync_api import Browser
from pypdf import PdfReader

from goals.reading import load_goals
from optimiser.figure_set import Figure
from optimiser.neat import neat
from optimiser.picture import Picture, stroke
from optimiser.problem import Problem
from optimiser.report import Report, report_document
from optimiser.report_page import render, write_report
from optimiser.runs import FINISHED, SEARCHING, Run
from tests.cars import CARS
from tests.journeys.garage import run as command
from tests.pages.browser import assert_sound, opened
from tests.pages.conftest import SAMPLE
from tests.search.catalogues import car_mapping
from tests.search.workshop import box, duty, row_of
from tests.wishbones import ROADSTER

SVG = "{http://www.w3.org/2000/svg}"
HOSTILE = "<script>alert(1)</script> & \"quoted\" 'x' </style><img src=x onerror=alert(2)>"


def parsed(text: str) -> Any:
    """The page's tree by a strict parser, which refuses what the HTML standard calls a parse error."""
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def a_report(
    folder: Path,
    duties: dict[str, dict[str, Any]] | None = None,
    *,
    hostile: str = "",
    status: str = FINISHED,
    wishbone: bool = False,
) -> Report:
    """A run of the small workshop with one row set by hand, nothing searched."""
    car = car_mapping(ROADSTER if wishbone else CARS[0])
    parts = box()
    if wishbone:
        del parts["stations"]["top_mount"]
    duties = duties or {"hill": duty(20), "pad": duty(30)}
    name = "two duties"
    if hostile:
        car["name"] = name = hostile
        parts["currency"] = hostile[:20]
        parts["stations"]["tie_rod"][0] |= {"name": hostile, "note": hostile}
        for each in duties.values():
            each["note"] = hostile
    goals = {"format": 1, "name": name, "car": "car.yaml", "parts": "parts.yaml", "duties": duties}
    for file, content in {"goals": goals, "car": car, "parts": parts}.items():
        (folder / f"{file}.yaml").write_text(yaml.safe_dump(content, sort_keys=False))
    loaded = load_goals(folder / "goals.yaml")
    run = Run.create(folder / "runs", "night", loaded)
    problem = Problem(loaded.goals, loaded.car, loaded.parts, loaded.readings)
    row = row_of(problem)
    run.ledger.add(row["build"], "done", 1, row)
    run.ledger.settle()
    run.update(status=status)
    return Report(run, problem, run.ranked(9), 2)


def page_of(report: Report) -> str:
    """The page without its pictures."""
    return render(report_document(report), [])


@pytest.mark.parametrize("width", [390, 768, 1440])
@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_page_is_quiet_and_fits_and_can_be_read(
    browser: Browser, sample_report: Path, width: int, dark: bool
) -> None:
    with opened(browser, sample_report, width, dark=dark) as seen:
        seen.evaluate("document.querySelectorAll('details').forEach((d) => { d.open = true; })")
        assert_sound(seen)


def shown_layers(seen: Any, within: str = ".layered") -> set[str]:
    """Layers of which anything is seen."""
    script = f"""[...document.querySelectorAll('{within} [data-layer]')]
        .filter((e) => e.getBoundingClientRect().width > 0).map((e) => e.dataset.layer)"""
    return set(seen.evaluate(script))


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_layers_are_shown_and_hidden(browser: Browser, sample_report: Path, script: bool) -> None:
    with opened(browser, sample_report, script=script) as seen:
        assert shown_layers(seen) == {"today", "c1"}
        seen.page.check("#layer-c2")
        assert shown_layers(seen) == {"today", "c1", "c2"}
        assert shown_layers(seen, ".plates") == {"today", "c1", "c2"}
        seen.page.uncheck("#layer-today")
        seen.page.uncheck("#layer-c1")
        assert shown_layers(seen) == {"c2"}


def test_one_candidate_alone_is_chosen(
    browser: Browser, sample_run: Report, tmp_path: Path
) -> None:
    drawing = Picture(100, 50, "map", "least 3 mm", (stroke([(0, 0), (90, 40)], "curve"),))
    drawn = [
        Figure(f"map-c{n}", "hill", "clearance", f"c{n}", "map", "read it", drawing)
        for n in (1, 2, 3)
    ]
    page = tmp_path / "page.html"
    page.write_text(render(report_document(sample_run), drawn))
    alone = """[...document.querySelectorAll('.alone')].filter((e) => e.checkVisibility())
        .map((e) => e.dataset.alone)"""
    with opened(browser, page, script=False) as seen:
        assert set(seen.evaluate(alone)) == {"c1"}
        seen.page.select_option("#alone", "c3")
        assert set(seen.evaluate(alone)) == {"c3"}


def test_without_a_script_all_is_there(browser: Browser, sample_report: Path) -> None:
    with opened(browser, sample_report, script=False) as seen:
        assert seen.page.locator("table.best").is_visible()
        assert seen.page.locator(".asks").first.locator("li").first.is_visible()
        assert seen.page.locator(".plates svg").first.is_visible()
        assert seen.page.locator("table.ranked").is_visible()


def test_ranking_is_sorted_by_a_column(browser: Browser, sample_report: Path) -> None:
    with opened(browser, sample_report) as seen:
        heads = seen.page.locator("table.ranked thead th").all_inner_texts()
        column = [head.strip(" ↑↓") for head in heads].index("price")
        button = seen.page.locator("table.ranked thead button", has_text="price")
        rows = "[...document.querySelector('table.ranked').tBodies[0].rows]"
        prices = f"{rows}.map((r) => +r.cells[{column}].dataset.value)"
        button.focus()
        seen.page.keyboard.press("Enter")
        found = seen.evaluate(prices)
        assert found == sorted(found)
        assert len(set(found)) > 2
        button.click()
        assert seen.evaluate(prices) == sorted(found, reverse=True)
        sorts = seen.page.locator("table.ranked th[aria-sort]")
        assert sorts.get_attribute("aria-sort") == "descending"


def test_paper_holds_what_is_chosen(browser: Browser, sample_report: Path, tmp_path: Path) -> None:
    with opened(browser, sample_report, dark=True) as seen:
        seen.page.pdf(path=tmp_path / "page.pdf", format="A4", print_background=True)
    texts = [page.extract_text() for page in PdfReader(tmp_path / "page.pdf").pages]
    assert 4 <= len(texts) <= 30
    assert all(len(text.strip()) > 40 for text in texts)
    whole = "\n".join(texts)
    assert "Candidate 1" in whole
    assert "Candidate 2" not in whole
    # what is folded on the screen is open on paper
    assert "what it is" in whole


def test_page_is_sound(sample_report: Path) -> None:
    tree = parsed(sample_report.read_text())
    ids = Counter(e.get("id") for e in tree.iter() if e.get("id"))
    assert [key for key, n in ids.items() if n > 1] == []
    levels = [int(e.tag[1]) for e in tree.iter() if re.fullmatch("h[1-6]", str(e.tag))]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    for e in tree.iter("a"):
        target = e.get("href", "")
        assert target.startswith("#")
        assert target[1:] in ids
    for e in tree.iter("table"):
        assert e.find("caption") is not None
        assert all(th.get("scope") for th in e.iter("th"))
    told = [e for e in tree.iter(f"{SVG}svg") if e.get("aria-hidden") != "true"]
    assert told
    for e in told:
        assert all((e.find(SVG + tag).text or "").strip() for tag in ("title", "desc"))
    for e in tree.iter():
        assert not any(str(key).startswith("on") for key in e.attrib)


def test_first_screen_tells_what_was_found(sample_report: Path) -> None:
    # the figures of runs/sample as its ranked.json has them
    best = json.loads((SAMPLE / "ranked.json").read_text())["candidates"][0]
    page = sample_report.read_text()
    tree = parsed(page)
    lead = next("".join(e.itertext()) for e in tree.iter("p") if e.get("class") == "lead")
    assert f"merit {best['merit']:.3f}" in lead
    assert f"{100 * best['yield']:.0f}\N{NO-BREAK SPACE}%" in lead
    assert f"{best['price']:,.0f} crowns" in lead
    assert "488,488,000 of 488,488,000 combinations covered" in page
    assert "Proven: every combination" in page
    assert "reproduces toe by dials" in page
    assert "Steering parts can hurt people" in page
    table = next(e for e in tree.iter("table") if e.get("class") == "best")
    rows = ["".join(row.itertext()) for row in table.iter("tr")]
    lock = next(row for row in rows if row.strip().startswith("inner wheel lock"))
    assert f"{best['duties']['hill']['measures']['lock_inner']['value']:.1f}" in lock


def test_names_with_markup_come_out_as_text(tmp_path: Path) -> None:
    duties = {name: duty(20 + i) for i, name in enumerate(("hill", "pad"))}
    report = a_report(tmp_path, duties, hostile=HOSTILE)
    written = write_report(report)
    text = Path(written["file"]).read_text()
    tree = parsed(text)
    assert len(list(tree.iter("script"))) == 1
    assert len(list(tree.iter("style"))) == 1
    assert list(tree.iter("img")) == []
    heading = next("".join(e.itertext()) for e in tree.iter("h1"))
    assert "<script>alert(1)</script>" in heading
    assert text.count("alert(1)") > 4


@pytest.mark.parametrize(
    "duties",
    [
        {"only": duty(20)},
        {"hill": duty(20), "pad": duty(30), "town": duty(10)},
    ],
    ids=["one", "three"],
)
def test_any_number_of_duties(tmp_path: Path, duties: dict[str, Any]) -> None:
    report = a_report(tmp_path, duties)
    tree = parsed(page_of(report))
    text = "".join(tree.itertext())
    for name in duties:
        assert name in text
    captions = ["".join(e.itertext()) for e in tree.iter("caption")]
    assert sum(c.startswith("Every measure of") for c in captions) == len(duties)


def test_nothing_feasible_is_loud(tmp_path: Path) -> None:
    duties = {"hill": duty(20, lock_inner={"min": 89}), "pad": duty(30)}
    report = a_report(tmp_path, duties)
    tree = parsed(page_of(report))
    first = next(e for e in tree.find(".//main") if e.get("class") == "loud")
    assert "NOTHING HOLDS EVERY LIMIT" in "".join(first.itertext())
    assert "inner wheel lock" in "".join(tree.itertext())
    assert "not to be built" in "".join(tree.itertext())


def test_a_run_at_work_says_so(tmp_path: Path) -> None:
    report = a_report(tmp_path, status=SEARCHING)
    with report.run.held():
        text = "".join(parsed(page_of(report)).itertext())
    assert "Still searching" in text
    assert "Not proven" in text


def test_a_run_with_nothing_finished(tmp_path: Path) -> None:
    report = a_report(tmp_path, status=SEARCHING)
    empty = Report(report.run, report.problem, [])
    text = "".join(parsed(page_of(empty)).itertext())
    assert "No build is finished yet" in text


def test_double_wishbone(tmp_path: Path) -> None:
    written = write_report(a_report(tmp_path, wishbone=True))
    text = "".join(parsed(Path(written["file"]).read_text()).itertext())
    assert "the damper’s stroke" in text or "the damper's stroke" in text


def test_command_tells_the_path(tmp_path: Path) -> None:
    shutil.copytree(SAMPLE, tmp_path / "runs" / "sample")
    outcome = command("report", "sample", "--top", "1", "--json", cwd=tmp_path)
    assert outcome.code == 0, outcome.err
    document = outcome.document
    assert set(document) == {"run", "file", "candidates", "figures", "bytes"}
    file = tmp_path / "runs" / "sample" / "report.html"
    assert document["candidates"] == 1
    assert Path(document["file"]) == file.resolve()
    assert document["bytes"] == file.stat().st_size
    assert outcome.err == ""


def test_same_run_same_bytes(tmp_path: Path) -> None:
    report = a_report(tmp_path)
    assert page_of(report) == page_of(report)


def test_signs_of_print() -> None:
    assert neat("-3.7 to -3.1 deg") == "−3.7 to −3.1\N{NO-BREAK SPACE}deg"
    assert neat("limit >= 20") == "limit ≥\N{NO-BREAK SPACE}20"
    assert neat("-") == "–"
    assert neat("M14-2 and 2026-01-02") == "M14-2 and 2026-01-02"
