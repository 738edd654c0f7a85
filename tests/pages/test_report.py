"""The report in a real browser, and what stands in it."""

from __future__ import annotations

import io
import json
import re
import shutil
from itertools import pairwise
from pathlib import Path
from typing import Any

import html5lib
import pytest
from playwright.sync_api import Browser
from pypdf import PdfReader

from optimiser.problem import Problem
from optimiser.ranking import feasible
from optimiser.report import Report, report_document
from optimiser.report_page import render, write_report
from optimiser.runs import Run
from tests.journeys.garage import run as command
from tests.pages.browser import SCHEMES, WEAK_TEXT, WIDTHS, looking

RUNS = Path(__file__).resolve().parents[2] / "runs"
HOSTILE = "<script>alert(1)</script><img src=x onerror=alert(2)>&\"'"


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    runs = tmp_path_factory.mktemp("report") / "runs"
    shutil.copytree(RUNS / "sample", runs / "sample")
    return runs


@pytest.fixture(scope="session")
def file(folder: Path) -> Path:
    done = command("report", "sample", "--runs", str(folder), "--top", "4", "--json", cwd=folder)
    assert done.code == 0
    assert done.document["candidates"] == 4
    path = Path(done.document["file"])
    assert done.document["bytes"] == path.stat().st_size
    return path


@pytest.fixture(scope="session")
def tree(file: Path) -> Any:
    return parsed(file.read_text(encoding="utf-8"))


def parsed(text: str) -> Any:
    """The page's tree; a fault of syntax by the HTML standard is an error."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(text)


def ranked(folder: Path) -> tuple[Run, Problem, list[dict[str, Any]]]:
    run = Run.find(folder, "sample")
    problem = run.load()
    return run, problem, run.ranked(problem.goals.search.keep)


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_it_is_sound_at_every_width(browser: Browser, file: Path, width: int, scheme: str) -> None:
    how: Any = {"viewport": {"width": width, "height": 900}, "color_scheme": scheme}
    with looking(browser, file, **how) as looked:
        looked.sound()
        for each in looked.page.locator("details").all():
            each.evaluate("e => { e.open = true }")
        looked.sound()
        assert looked.page.evaluate(WEAK_TEXT) == []


def seen(page: Any, layer: str) -> bool:
    return bool(page.locator(f'.layered svg [data-layer="{layer}"]').first.is_visible())


@pytest.mark.parametrize("script", [True, False])
def test_candidates_are_laid_over_each_other_with_and_without_a_script(
    browser: Browser, file: Path, script: bool
) -> None:
    with looking(browser, file, java_script_enabled=script) as looked:
        page = looked.page
        assert (seen(page, "today"), seen(page, "c1"), seen(page, "c2")) == (True, True, False)
        page.locator("#layer-c2").check()
        page.locator("#layer-today").uncheck()
        assert (seen(page, "today"), seen(page, "c1"), seen(page, "c2")) == (False, True, True)
        alone = page.locator("figure[data-alone]")
        page.locator("#alone").select_option("c2")
        shown = {e.get_attribute("data-alone") for e in alone.all() if e.is_visible()}
        assert shown == {"c2"}


def test_the_ranking_sorts_by_keyboard(browser: Browser, file: Path) -> None:
    with looking(browser, file) as looked:
        page = looked.page
        table = page.locator("table.sortable")
        table.evaluate(
            "e => { for (let d = e; d; d = d.parentElement) if (d.open === false) d.open = true }"
        )
        head = table.locator("thead button", has_text="price").first
        head.focus()
        page.keyboard.press("Enter")
        column = head.evaluate("e => e.parentElement.cellIndex")
        prices = [
            float(v)
            for v in table.locator("tbody tr").evaluate_all(
                f"rows => rows.map(r => r.cells[{column}].dataset.value)"
            )
        ]
        assert prices == sorted(prices) and len(set(prices)) > 1


def test_on_paper_it_is_light_with_no_empty_page(browser: Browser, file: Path) -> None:
    for size in ("A4", "Letter"):
        with looking(browser, file, color_scheme="dark") as looked:
            pages = PdfReader(io.BytesIO(looked.page.pdf(format=size))).pages
        assert 6 <= len(pages) <= 45
        assert all(len(page.extract_text()) > 40 for page in pages)


def test_headings_ids_names_and_pictures_are_in_order(tree: Any) -> None:
    heads = [int(e.tag[1]) for e in tree.iter() if re.fullmatch("h[1-6]", str(e.tag))]
    assert heads[0] == 1 and heads.count(1) == 1
    assert all(later <= head + 1 for head, later in pairwise(heads))
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(set(ids)) == len(ids)
    named = [e.get(a, "").split() for e in tree.iter() for a in ("aria-labelledby", "for")]
    assert {name for names in named for name in names} <= set(ids)
    links = [e.get("href") for e in tree.iter("a")]
    assert links and {link.removeprefix("#") for link in links} <= set(ids)
    pictures = [e for e in tree.iter() if str(e.tag).endswith("svg") and e.get("role") == "img"]
    assert len(pictures) > 40
    for picture in pictures:
        told = {str(e.tag).rsplit("}", 1)[-1]: e.text for e in picture}
        assert told["title"] and told["desc"]
    assert all(e.find("caption") is not None for e in tree.iter("table"))
    (root,) = [e for e in [tree, *tree.iter()] if e.tag == "html"][:1]
    assert root.get("lang") == "en"


def test_nothing_is_fetched_and_nothing_of_the_machine_is_told(file: Path, folder: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert not re.search(r"(?:src|href)=\"(?!#)|url\(|@import|https?://(?!www\.w3\.org)", text)
    assert str(folder) not in text


def test_it_says_what_the_ranking_says(file: Path, folder: Path) -> None:
    text = file.read_text(encoding="utf-8").replace("\N{MINUS SIGN}", "-").replace("\xa0", " ")
    _, problem, rows = ranked(folder)
    ranking = json.loads((folder / "sample" / "ranked.json").read_text(encoding="utf-8"))
    first = ranking["candidates"][0]
    assert f"{first['merit']:.3f}" in text
    assert f"{round(100 * first['yield'])} %" in text
    assert f"{first['price']:,.0f} crowns" in text
    for duty in problem.duties:
        lock = first["duties"][duty]["measures"]["lock_inner"]["value"]
        assert f"{lock:.2f}" in text
    assert len(rows) == len(ranking["candidates"])
    assert "every combination was searched" in text
    for words in ("rigid, ideal model", "licensed engineer", "Positive locking"):
        assert words in text


def test_the_same_run_gives_the_same_page(folder: Path, file: Path) -> None:
    before = file.read_bytes()
    run, problem, rows = ranked(folder)
    write_report(Report(run, problem, rows, 4))
    assert file.read_bytes() == before


def test_names_are_text_whatever_stands_in_them(folder: Path) -> None:
    run, problem, rows = ranked(folder)
    goals = problem.goals.model_copy(update={"name": HOSTILE})
    hostile = Problem(
        goals, problem.car.model_copy(update={"name": HOSTILE}), problem.parts, problem.readings
    )
    stations = {
        s: [p.model_copy(update={"name": HOSTILE}) for p in parts]
        for s, parts in problem.parts.stations.items()
    }
    hostile = Problem(
        hostile.goals, hostile.car, problem.parts.model_copy(update={"stations": stations}), None
    )
    text = render(report_document(Report(run, hostile, rows, 2)), [])
    tree = parsed(text)
    assert len(list(tree.iter("script"))) == text.count("<script") == 1
    assert not list(tree.iter("img"))
    assert "&lt;script&gt;alert(1)" in text


def test_where_nothing_holds_it_says_so_first(folder: Path) -> None:
    run, problem, _ = ranked(folder)
    lacking = [row for row in run.ledger.each() if not feasible(row)][:3]
    document = report_document(Report(run, problem, lacking, 3))
    assert any("NOTHING HOLDS EVERY LIMIT" in line for line in document["loud"])
    parsed(render(document, []))


def test_of_a_run_with_nothing_yet_there_is_a_page(folder: Path) -> None:
    run, problem, _ = ranked(folder)
    document = report_document(Report(run, problem, [], 3))
    assert "No build is finished yet." in document["loud"]
    parsed(render(document, []))
