"""Tables for people: on the paper, with no figure cut, and saying plainly what holds and what fails."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console

from kinematics.measures import MEASURES
from optimiser.checking import check_document
from optimiser.evaluate import candidate
from optimiser.problem import Problem
from optimiser.runs import candidate_document
from optimiser.tables import print_check, print_rank, print_show
from optimiser.wording import bound_words, figure, fixed, plain
from tests.search.workshop import box, duty, problem, row_of, uneven

Record = dict[str, Any]


def printed(show: Any, *arguments: Any, width: int = 80, terminal: bool = False) -> str:
    """What a table prints on a console of so many columns."""
    out = io.StringIO()
    console = Console(
        file=out,
        width=width,
        force_terminal=terminal,
        color_system="standard" if terminal else None,
        highlight=False,
    )
    show(console, *arguments)
    return out.getvalue()


def ranking(rows: list[Record], **coverage: Any) -> Record:
    known = {"builds": 8, "builds_done": 4, "combinations": 4000, "covered": 1234, "proven": False}
    return {
        "run": "night",
        "status": "finished",
        "coverage": {**known, **coverage},
        "candidates": [candidate_document(place, row) for place, row in enumerate(rows, 1)],
    }


def shown(asked: Problem, row: Record, *, curves: bool = False) -> Record:
    document = {"run": "night", **candidate_document(1, row)}
    if not curves:
        return document
    build = asked.space.build(row["build"])
    duties = {}
    for name, record in row["duties"].items():
        assembly = asked.assembly(build, name)
        assert assembly is not None
        full = candidate(assembly, [], tuple(record["positions"]), curves=True)
        duties[name] = {**record, "curves": full["curves"]}
    return {**document, "duties": duties}


def flat(text: str) -> str:
    return " ".join(text.split())


PLAIN = problem()
ROWS = [row_of(PLAIN, number) for number in range(PLAIN.space.builds)]
FAILING = problem({"hill": duty(20), "pad": duty(30, lock_inner={"min": 40}), "low": duty(300)})
FAILING_ROW = row_of(FAILING)
FIVE = problem({f"a_duty_of_a_long_name_{n}": duty(5 * n) for n in range(5)})


def everything() -> dict[str, str]:
    """Each table of several problems."""
    unlike = problem(right=uneven())
    parts = box()
    parts["stations"]["tie_rod_stud"][0]["name"] = "[bold]x[/bold] " + "y" * 120
    odd = problem(parts=parts)
    texts = {
        "rank": printed(print_rank, ranking(ROWS)),
        "rank failing": printed(print_rank, ranking([FAILING_ROW])),
        "rank five": printed(print_rank, ranking([row_of(FIVE)])),
    }
    for name, asked in {"plain": PLAIN, "uneven": unlike, "five": FIVE, "odd": odd}.items():
        texts[f"show {name}"] = printed(
            print_show, asked, shown(asked, row_of(asked), curves=name != "odd")
        )
        texts[f"check {name}"] = printed(print_check, check_document(asked), asked)
    return texts


TEXTS = everything()


@pytest.mark.parametrize("name", TEXTS)
def test_fits_the_paper_in_plain_text(name: str) -> None:
    text = TEXTS[name]
    assert max(cell_len(line) for line in text.splitlines()) <= 80
    assert "\x1b" not in text
    assert "…" not in text


def test_colour_on_a_terminal() -> None:
    assert "\x1b" in printed(print_rank, ranking([FAILING_ROW]), terminal=True)


@pytest.mark.parametrize("width", [30, 79, 120, 200])
def test_no_figure_is_cut_whatever_the_width(width: int) -> None:
    document = shown(PLAIN, ROWS[-1], curves=True)
    text = printed(print_show, PLAIN, document, width=width)
    for record in document["duties"].values():
        for name, entry in record["measures"].items():
            values = entry["value"] if isinstance(entry["value"], list) else [entry["value"]]
            for value in values:
                assert figure(name, value, entry.get("bounds", [])) in text
        assert f"{record['solved']['tie_rod']['length']:.1f}" in text
        for value in record["curves"]["steer"]["left"][:1]:
            assert f"{value:.1f}" in text


def test_rank_says_how_far_the_search_came() -> None:
    head = printed(print_rank, ranking(ROWS))
    assert "run night, finished" in head
    assert "4 of 8 builds searched, 1,234 of 4,000 combinations covered" in head
    assert "not proven: 30.8 % covered" in head
    done = printed(print_rank, ranking(ROWS, builds_done=8, covered=4000, proven=True))
    assert "proven: every combination was searched or dropped by a bound" in done
    assert "not proven" not in done


@given(st.integers(min_value=0, max_value=10**13), st.integers(min_value=1, max_value=10**13))
def test_what_is_not_proven_is_never_all_covered(covered: int, more: int) -> None:
    document = ranking([], combinations=covered + more, covered=covered)
    share = re.search(r"not proven: (less than )?([\d.]+) % covered", printed(print_rank, document))
    assert share is not None
    assert float(share[2]) < 100.0
    assert (float(share[2]) == 0.0) == (covered == 0)


def test_rank_gives_each_candidate_its_line() -> None:
    text = printed(print_rank, ranking(ROWS))
    for place, row in enumerate(ROWS, 1):
        merits = [f"{row['duties'][name]['merit']:.3f}" for name in PLAIN.duties]
        worst = max(merits, key=float)
        figures = [str(place), worst, *merits, f"{row['price']:g}", str(len(row["to_buy"]))]
        assert re.search(r"^ *" + r" +".join(map(re.escape, figures)) + r"$", text, re.MULTILINE)
    assert f"{len(ROWS)} of {len(ROWS)} ranked hold every limit" in text


def test_rank_names_the_tightest_limit() -> None:
    asked = problem({"hill": duty(20), "pad": duty(30, toggle_margin={"min": 32.0})})
    row = row_of(asked)
    value = row["duties"]["pad"]["measures"]["toggle_margin"]["value"]
    assert value > 32.0
    text = flat(printed(print_rank, ranking([row])))
    assert f"tightest: pad, toggle margin >= 32, {value - 32.0:.1f} deg in hand" in text
    state = row["duties"]["pad"]["measures"]["toggle_margin"]["state"]
    words = f"{state['wheel']} wheel, {abs(state['travel']):g} mm"
    assert f"deg in hand; {words}" in text
    assert f", {state['rack']:.1f} mm of rack" in text


def test_rank_shows_the_first_and_says_how_many_more() -> None:
    text = printed(print_rank, ranking(ROWS), 3)
    assert f"{len(ROWS) - 3} more ranked" in text
    assert re.findall(r"^ *(\d+)  \d\.\d{3}", text, re.MULTILINE) == ["1", "2", "3"]
    assert "more ranked" not in printed(print_rank, ranking(ROWS), len(ROWS))


def test_rank_says_first_that_nothing_holds() -> None:
    text = printed(print_rank, ranking([FAILING_ROW]))
    assert text.startswith("Nothing holds every limit; the nearest come first.\n")
    short = 40.0 - FAILING_ROW["duties"]["pad"]["measures"]["lock_inner"]["value"]
    line = f"serves hill; pad lacks: inner wheel lock {short:.1f} deg"
    assert line in flat(text)
    stop = FAILING_ROW["duties"]["pad"]["solved"]["stop"]
    assert f"(inner wheel, ride height, {stop:.1f} mm of rack)" in flat(text)
    assert "low: the build cannot give this duty's ride height" in flat(text)
    assert "Nothing holds" not in printed(print_rank, ranking(ROWS))


def test_rank_of_nothing_yet() -> None:
    assert "No build is finished yet." in printed(print_rank, ranking([]))


def test_show_tells_parts_positions_and_what_follows() -> None:
    text = printed(print_show, PLAIN, shown(PLAIN, ROWS[-1]))
    for part in PLAIN.space.build(ROWS[-1]["build"]).parts.values():
        assert part.id in text
    assert "loose [red]spacers | *all*" in text
    assert "buy, 90 crowns" in text
    words = flat(text)
    for record in ROWS[-1]["duties"].values():
        settings = record["settings"]
        assert f"{settings['top_mount']['in_out']:g} mm" in words
        assert settings["rack_mount"]["thick_side"] in words
        under = " + ".join(f"{piece:g}" for piece in settings["tie_rod_stud"]["pieces_under"])
        assert f"({under})" in words
    assert "against travel" not in text
    assert "against travel" in printed(print_show, PLAIN, shown(PLAIN, ROWS[-1], curves=True))


def test_show_judges_each_limit_and_target() -> None:
    row = row_of(problem({"pad": duty(30, lock_inner={"min": 40}, caster={"min": 1, "max": 9})}))
    asked = problem({"pad": duty(30, lock_inner={"min": 40}, caster={"min": 1, "max": 9})})
    words = flat(printed(print_show, asked, shown(asked, row)))
    entries = row["duties"]["pad"]["measures"]
    stop = f"{row['duties']['pad']['solved']['stop']:.1f}"
    lock = f"inner wheel lock, deg {entries['lock_inner']['value']:.1f} FAILS >= 40"
    assert f"{lock} inner wheel, ride height, {stop} mm of rack" in words
    caster = f"caster, deg {entries['caster']['value']:.1f} ok 1 to 9"
    assert f"{caster} straight ahead at ride height" in words
    camber = entries["camber"]
    assert (f"camber, deg {camber['value']:.1f} aim -1 +/- 0.5 off {camber['miss']:.2f}") in words
    first = entries["ackermann"]
    off = abs(first["value"][0] - 40) / 15
    assert (f"ackermann at 8 deg, % {first['value'][0]:.0f} aim 40 +/- 15 off {off:.2f}") in words
    assert "over -30 to 30" in words
    assert "DOES NOT HOLD EVERY LIMIT" in words


def test_check_puts_today_beside_the_goals() -> None:
    asked = problem({"hill": duty(40, roll_centre_height={"min": 20, "max": 90})})
    document = check_document(asked)
    measures = document["duties"]["hill"]["measures"]
    text = printed(print_check, document, asked)
    words = flat(text)
    assert "hill: today's parts, lowered 40 mm, toe reset to 0.10 deg" in words
    height = measures["roll_centre_height"]["value"]
    assert height < 0.0
    assert f"roll centre height {-height:.0f} mm under the ground, needs 20 to 90" in words
    measured = document["as_measured"]["measures"]["roll_centre_height"]["value"]
    assert re.search(rf"roll centre height, mm +{measured:.0f} +{height:.0f} FAILS 20 to 90", text)
    places = [text.index(f"\n{group} ") for group in ("static", "travel", "steer", "loads")]
    assert places == sorted(places)
    assert f"{asked.space.builds} builds" in text


def test_check_needs_no_more_than_its_document() -> None:
    text = printed(print_check, check_document(PLAIN))
    assert "holds every limit" in text


def test_a_figure_that_does_not_exist_is_a_dash_with_a_word() -> None:
    asked = problem({"hill": duty(20, toe_out_on_turns={"min": 3, "at": 75})})
    document = check_document(asked)
    assert document["duties"]["hill"]["measures"]["toe_out_on_turns"]["value"] is None
    words = flat(printed(print_check, document, asked))
    assert "toe-out on turns not reached, needs >= 3" in words
    assert re.search(r"toe-out on turns at 75 deg, deg - FAILS >= 3 not reached", words)


@given(
    st.sampled_from(sorted(MEASURES)),
    st.floats(min_value=-1e4, max_value=1e4),
    st.integers(min_value=-100_000, max_value=100_000),
)
def test_rounding_never_crosses_a_bound(name: str, value: float, thousandths: int) -> None:
    edge = thousandths / 1000
    if name == "price" or 0.0 < abs(value - edge) < 1e-7:
        return
    text = figure(name, value, [[edge, None]])
    assert (float(text) >= edge) == (value >= edge)


def test_words_of_bounds_and_labels() -> None:
    assert bound_words("camber", [-2.9, -2.3]) == "-2.9 to -2.3"
    assert bound_words("linkage", [1e-6, None]) == "not over centre"
    assert bound_words("toggle_margin", [20, None]) == ">= 20"
    assert plain("bump_steer over -40..40 left") == "bump steer over -40 to 40 mm (left wheel)"
    assert plain("ackermann at 20") == "ackermann at 20 deg"
    assert fixed(-0.0004, 2) == "0.00"


def test_a_bent_shell_has_figures_of_both_its_sides() -> None:
    """Each wheel's and each turn's own figure; the right wheel has its own curves, too."""
    bent = problem(right=uneven())
    document = check_document(bent)
    record = document["duties"]["hill"]
    for name, cases in (("camber", {"left", "right"}), ("lock_inner", {"left_turn", "right_turn"})):
        entry = record["measures"][name]
        assert entry["sides"].keys() == cases
        assert entry["value"] in entry["sides"].values()
    # rods that differ leave camber straight ahead alike, and not lock
    assert len(set(record["measures"]["lock_inner"]["sides"].values())) == 2
    # of a limit that holds on both sides the tighter one is shown
    least = record["measures"]["toggle_margin"]
    assert least["limit"] and least["value"] == min(least["sides"].values())
    assert record["curves"]["travel_right"]["toe"] != record["curves"]["travel"]["toe"]
    text = printed(print_check, document, bent)
    camber = record["measures"]["camber"]["sides"]
    for side in ("left", "right"):
        assert re.search(rf"  {side} wheel +.*{camber[side]:.2f}", text)
    assert "sides" not in check_document(PLAIN)["duties"]["hill"]["measures"]["camber"]
