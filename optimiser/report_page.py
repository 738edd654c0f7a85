"""The report as one page: a single HTML file that needs no network, no fonts and no script to be read."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path
from typing import Any

from markupsafe import Markup

from optimiser.drawn import TODAY
from optimiser.figure_set import PENS, Figure, figures
from optimiser.picture import as_svg
from optimiser.report import Report, report_document
from optimiser.templates import template
from optimiser.wording import clean
from optimiser.writing import write_file

Record = dict[str, Any]

PLACE = "report.html"


def write_report(report: Report) -> Record:
    """Write the report into its run folder.

    Returns run, file, and how many candidates are drawn, figures and bytes there are.
    """
    drawn = figures(report.problem, report.drawn, report.rows) if report.rows else []
    text = render(report_document(report), drawn)
    path: Path = report.run.folder / PLACE
    write_file(path, text)
    return {
        "run": report.run.name,
        "file": str(path),
        "candidates": len(report.drawn),
        "figures": len(drawn),
        "bytes": len(text.encode()),
    }


def render(page: Record, drawn: Sequence[Figure]) -> str:
    """The page of a report's document and its pictures."""
    return template("report.html.j2").render(
        page=page,
        layers=_layers(page),
        pictures=_grouped(page, drawn),
        alone=any(figure.layer for figure in drawn),
        style=Markup(_package_text("report.css") + PENS),
        script=Markup(_package_text("report.js")),
    )


def _package_text(name: str) -> str:
    return (files("optimiser") / "pages" / name).read_text(encoding="utf-8")


def _layers(page: Record) -> list[Record]:
    """What can be laid over each other; at first the best candidate over today's car."""
    found = [{"layer": TODAY, "word": "today", "on": True}]
    for each in page["shown"]:
        place = str(each["place"])
        found.append({"layer": each["layer"], "word": place, "on": each["place"] == 1})
    return found


def _grouped(page: Record, drawn: Sequence[Figure]) -> list[Record]:
    """Figures by duty in the order of the duties, and those about all of them at the end."""
    duties = dict.fromkeys(figure.duty for figure in drawn if figure.duty is not None)
    groups = [(clean(duty), duty) for duty in duties]
    found = [
        {"head": head, "figures": [_figure(f) for f in drawn if f.duty == duty]}
        for head, duty in groups
    ]
    over_all = [_figure(f) for f in drawn if f.duty is None]
    return [*found, *([{"head": "Over all duties", "figures": over_all}] if over_all else [])]


def _figure(figure: Figure) -> Record:
    return {
        "kind": figure.kind,
        "layer": figure.layer,
        "title": figure.title,
        "caption": figure.caption,
        "words": figure.picture.words,
        "width": round(figure.picture.width),
        # as_svg escapes every text that it sets
        "svg": Markup(as_svg(figure.picture, figure.key)),
    }
