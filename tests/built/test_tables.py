"""What is printed and filed of cars as built: yields, bands, ties, and what matters most."""

from __future__ import annotations

import re
from typing import Any

import pytest

from optimiser.built_table import share_words
from optimiser.checking import check_document
from optimiser.problem import Problem
from optimiser.runs import candidate_document, candidate_documents
from optimiser.tables import print_check, print_rank, print_show
from optimiser.yields import sample_row
from tests.search.test_tables import flat, printed, ranking
from tests.search.workshop import duty, problem, row_of, uneven

Record = dict[str, Any]
DUTIES = {
    "hill": duty(20, track_width={"max": 1428}),
    "pad": duty(30, roll_centre_height={"min": -40}),
}


def built_row(asked: Problem) -> Record:
    row = row_of(asked)
    return {**row, "as_built": sample_row(asked, row)}


@pytest.fixture(scope="module", params=["mirrored", "uneven"])
def asked(request: pytest.FixtureRequest) -> Problem:
    return problem(duties=DUTIES, right=uneven() if request.param == "uneven" else None)


def test_show_prints_yields_bands_and_what_matters_within_the_paper(asked: Problem) -> None:
    row = built_row(asked)
    document = {"run": "night", **candidate_document(1, row, 1, curves=True)}
    text = printed(print_show, asked, document)
    assert max(len(line) for line in text.splitlines()) <= 80
    said = flat(text)
    built = row["as_built"]
    assert f"as built: {share_words(built['yield'])} of the cars hold every limit" in said
    for name, record in built["duties"].items():
        assert f"{name}: {share_words(record['yield'])} hold every limit; the stop comes to" in said
    low, high = built["duties"]["hill"]["bands"]["track_width"]
    assert f"[{low:.1f} to {high:.1f}]" in said
    assert "5 to 95 % band" in said
    worst = {
        label: share
        for record in built["duties"].values()
        for label, share in record["limits"].items()
        if share < 1.0
    }
    assert worst, "a limit that costs cars is wanted here"
    for told in built["duties"].values():
        for label, matters in told["matters"].items():
            assert told["limits"][label] < 1.0
            assert matters is None or len(matters["errors"]) <= 3


def test_the_bands_hold_the_figure_itself_or_lie_on_its_worse_side(asked: Problem) -> None:
    row = built_row(asked)
    for name, record in row["duties"].items():
        bands = row["as_built"]["duties"][name]["bands"]
        for key in ("camber_gain", "track_width", "roll_centre_height", "stop_travel"):
            low, high = bands[key]
            assert low <= record["measures"][key]["value"] <= high, key
        curves = row["as_built"]["duties"][name]["curves"]
        assert len(curves["toe_left"]) == len(curves["travel"]) == len(curves["toe_right"])
        assert len(curves["steer_left"]) == len(curves["rack"]) == len(curves["toggle_margin"])


def test_a_candidate_that_was_not_built_prints_as_ever(asked: Problem) -> None:
    document = {"run": "night", **candidate_document(1, row_of(asked))}
    text = flat(printed(print_show, asked, document))
    assert "as built" not in text and "band" not in text


def candidates(*told: tuple[float, float, bool]) -> list[Record]:
    """Ranked candidates with a yield, a tie apart from those above by merit, and enough yield or not."""
    asked = problem(duties=DUTIES)
    base = row_of(asked)
    rows = []
    for share, merit, enough in told:
        record = {"number": base["build"], "yield": share, "yield_error": 0.01, "enough": enough}
        rows.append({**base, "as_built": {**record, "merits": [merit] * 8, "duties": {}}})
    return candidate_documents(rows)


def test_rank_marks_ties_and_tells_of_the_least_yield() -> None:
    ranked = candidates((0.5, 1.0, True), (1.0, 1.0, True), (0.999, 2.0, True), (0.001, 0.5, False))
    assert [c["tie"] for c in ranked] == [1, 1, 2, 3]
    document = {**ranking([]), "candidates": ranked}
    text = printed(print_rank, document)
    assert max(len(line) for line in text.splitlines()) <= 80
    places = re.findall(r"^ *(= 2|1|3|4) +[-0-9]", text, re.MULTILINE)
    assert places == ["1", "= 2", "3", "4"]
    for words in ("50 %", "100 %", ">99 %", "<1 %"):
        assert words in text
    said = flat(text)
    assert "share of cars built with the errors told that hold every limit" in said
    assert "=: cannot be told from the first of its group" in said
    assert "1 has less than the least yield wanted and ranks after the others, from 4" in said


def test_rank_without_yields_prints_no_column_for_them() -> None:
    asked = problem(duties=DUTIES)
    document = {**ranking([]), "candidates": candidate_documents([row_of(asked)])}
    text = printed(print_rank, document)
    assert "yield" not in text and "=:" not in text


def test_check_prints_what_todays_figures_may_really_be(asked: Problem) -> None:
    document = check_document(asked)
    text = printed(print_check, document, asked)
    assert max(len(line) for line in text.splitlines()) <= 80
    for record in document["duties"].values():
        low, high = record["bands"]["caster"]
        assert low < record["measures"]["caster"]["value"] < high
        # toe is set as it should be: nothing to tell
        toe = record["bands"]["toe"]
        assert toe[0] == pytest.approx(toe[1], abs=1e-9)
        assert f"[{low:.1f} to {high:.1f}]" in flat(text)


@pytest.mark.parametrize(
    ("share", "words"),
    [(None, "-"), (0.0, "0 %"), (0.001, "<1 %"), (0.5, "50 %"), (0.999, ">99 %"), (1.0, "100 %")],
)
def test_nearly_all_is_not_all(share: float | None, words: str) -> None:
    assert share_words(share) == words
