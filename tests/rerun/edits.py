"""Boxes and goals to be edited, and what builders do to them. All invented."""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import dataclass
from typing import Any

from tests.rerun.bench import Files, files_of
from tests.search.catalogues import random_problem
from tests.search.pairs import pairing_problem
from tests.wishbones import WISHBONES

Part = dict[str, Any]


def paired() -> Files:
    """Two duties that have to share settings; six builds, a slide that is refined."""
    files = files_of(pairing_problem(6))
    _fill(files)
    part(files, "slider")["adjusts"]["in_out"]["fine"] = 3.0
    files["goals"]["changeover"] = {
        "allow": ["tie_rod_stud", "top_mount", "spring_seat"],
        "minutes": {"max": 75},
    }
    return files


def alone() -> Files:
    """Two duties, each set up by itself."""
    files = files_of(random_problem(1, small=True))
    _fill(files)
    return files


def wishbone() -> Files:
    """The same on two arms."""
    files = files_of(random_problem(4, WISHBONES, small=True))
    _fill(files)
    return files


def _fill(files: Files) -> None:
    """A second knuckle, prices, and one adjuster that can be set finer than its step."""
    stations = files["parts"]["stations"]
    (dropped,) = stations["knuckle"]
    slim = {**deepcopy(dropped), "id": "slim", "price": 180.0, "minutes": 90.0}
    slim["moves"]["tie_rod_outer"][2] += 3.0
    stations["knuckle"].append(slim)
    arm = stations["lower_arm"][0]
    arm["adjusts"]["length"]["fine"] = arm["adjusts"]["length"]["step"] / 3.0
    arm["minutes"] = 20.0
    files["goals"]["search"]["keep"] = 2


BASES: dict[str, Callable[[], Files]] = {"paired": paired, "alone": alone, "wishbone": wishbone}


def part(files: Files, name: str) -> Part:
    """The part of an id."""
    every = [one for listed in files["parts"]["stations"].values() for one in listed]
    return next(one for one in every if one["id"] == name)


def duties(files: Files) -> list[dict[str, Any]]:
    """The duties, in order."""
    return list(files["goals"]["duties"].values())


@dataclass(frozen=True)
class Edit:
    """Something that a builder changes.

    ``whole`` and ``some`` are the least shares of builds that must be taken over whole, or with sweeps of
    some duties; ``cars`` is whether records of cars as built hold; of the whole rows, where there are any.
    """

    name: str
    base: str
    change: Callable[[Files], None]
    whole: float = 0.0
    some: float = 0.0
    cars: bool = False


# What each edit does.


def price(files: Files) -> None:
    for listed in files["parts"]["stations"].values():
        for one in listed:
            one["price"] = one.get("price", 0.0) + 45.0


def owned(files: Files) -> None:
    part(files, "slim")["owned"] = True


def today(files: Files) -> None:
    part(files, "dropped")["today"] = True


def note(files: Files) -> None:
    part(files, "slim")["note"] = "lent out until spring"
    files["goals"]["note"] = "second thoughts"
    duties(files)[0]["note"] = "wet"


def renamed(files: Files) -> None:
    part(files, "slim")["name"] = "slim knuckle"
    part(files, "slim")["id"] = "narrow"


def part_added(files: Files) -> None:
    short = {**deepcopy(part(files, "dropped")), "id": "short_arm", "price": 260.0}
    short["moves"]["tie_rod_outer"][0] += 5.0
    files["parts"]["stations"]["knuckle"].insert(0, short)


def adjuster_added(files: Files) -> None:
    """A part that nobody would fit, with an adjuster of a name that is new: other errors are drawn."""
    slide = {"along": {"ball_joint": [0, 1, 0]}, "range": [0.0, 3.0], "step": 3.0}
    files["parts"]["stations"]["knuckle"].append({"id": "slotted", "adjusts": {"out": slide}})


def twin_added(files: Files) -> None:
    files["parts"]["stations"]["knuckle"].append(
        {**deepcopy(part(files, "slim")), "id": "spare", "price": 20.0}
    )


def part_removed(files: Files) -> None:
    files["parts"]["stations"]["knuckle"].pop(0)


def moved_in_file(files: Files) -> None:
    files["parts"]["stations"]["knuckle"].reverse()


def station_added(files: Files) -> None:
    files["parts"]["stations"]["wheel_spacer"] = [
        {"id": "plate", "adds": {"wheel": {"spacer": 5.0}}, "price": 40.0}
    ]


def stop_added(files: Files) -> None:
    files["parts"]["stations"]["steering_stop"] = [
        {"id": "collar", "adds": {"rack": {"travel": -4.0}}, "minutes": 5.0}
    ]


def station_removed(files: Files) -> None:
    del files["parts"]["stations"]["rack_end"]


def range_grown(files: Files) -> None:
    low, high = part(files, "threaded")["adjusts"]["length"]["range"]
    part(files, "threaded")["adjusts"]["length"]["range"] = [low, high + 2.0]


def error_told(files: Files) -> None:
    part(files, "threaded")["adjusts"]["length"]["error"] = 0.2


def reads(files: Files) -> None:
    part(files, "threaded")["adjusts"]["length"]["reads"] = "threads showing"


def coarse(files: Files) -> None:
    del part(files, "threaded")["adjusts"]["length"]["fine"]


def choice_renamed(files: Files) -> None:
    choices = part(files, "turned")["choices"]
    choices["thick_side"] = {
        ("forward" if name == "back" else name): at for name, at in choices["thick_side"].items()
    }


def pieces(files: Files) -> None:
    stack = part(files, "washers")["stack"]
    stack["pieces"] = dict.fromkeys(stack["pieces"], 4)


def moved_effect(files: Files) -> None:
    part(files, "slim")["moves"]["ball_joint"][2] -= 2.0


def apart(files: Files) -> None:
    part(files, "ring")["fits"] = {"not_with": ["slim"]}


def hard_point(files: Files) -> None:
    files["car"]["points"]["ball_joint"][2] += 1.0


def car_named(files: Files) -> None:
    files["car"]["name"] = "the same car (invented)"
    files["car"]["note"] = "measured again, nothing found"


def masses(files: Files) -> None:
    files["car"]["masses"]["cg_height"] += 10.0


def limit(files: Files) -> None:
    duties(files)[1].setdefault("limits", {})["toggle_margin"] = {"min": 12.0, "in_hand": 1.0}


def limit_removed(files: Files) -> None:
    duties(files)[0]["limits"].pop(next(iter(duties(files)[0]["limits"])))


def weight(files: Files) -> None:
    next(iter(duties(files)[0]["targets"].values()))["weight"] = 3.5


def asks_reordered(files: Files) -> None:
    targets = duties(files)[0]["targets"]
    duties(files)[0]["targets"] = dict(reversed(list(targets.items())))


def target_on_price(files: Files) -> None:
    duties(files)[0]["targets"]["price"] = {"value": 0, "tolerance": 400}


def lowered(files: Files) -> None:
    duties(files)[0]["lowered_by"] = 10.0


def toe(files: Files) -> None:
    duties(files)[1]["static"] = {"toe": 0.07}


def duty_added(files: Files) -> None:
    files["goals"]["duties"]["wet"] = {"targets": {"camber": {"value": -1, "tolerance": 1}}}


def duty_removed(files: Files) -> None:
    files["goals"]["duties"].popitem()


def duty_renamed(files: Files) -> None:
    first, *others = files["goals"]["duties"].items()
    files["goals"]["duties"] = dict([("road", first[1]), *others])


def duties_turned(files: Files) -> None:
    files["goals"]["duties"] = dict(reversed(list(files["goals"]["duties"].items())))


def tolerance(files: Files) -> None:
    files["goals"]["tolerances"] = {"hard_points": 0.7, "toe": 0.02}


def overtravel(files: Files) -> None:
    files["goals"]["tolerances"] = {"rack_overtravel": 4.0}


def least_yield(files: Files) -> None:
    files["goals"]["tolerances"] = {"least_yield": 0.6}


def fewer_minutes(files: Files) -> None:
    files["goals"]["changeover"]["minutes"] = {"max": 25}


def allowed(files: Files) -> None:
    files["goals"]["changeover"]["allow"] = ["tie_rod_stud"]


def no_changeover(files: Files) -> None:
    del files["goals"]["changeover"]


def a_changeover(files: Files) -> None:
    files["goals"]["changeover"] = {"allow": ["tie_rod_stud"], "minutes": {"max": 60}}


def part_minutes(files: Files) -> None:
    part(files, "washers")["minutes"] = 35.0
    part(files, "washers")["behind_wheel"] = True


def wheel_off(files: Files) -> None:
    files["parts"]["wheel_off"] = 6.0


def currency(files: Files) -> None:
    files["parts"]["currency"] = "crowns"


def keep(files: Files) -> None:
    files["goals"]["search"]["keep"] = 3


def settings(files: Files) -> None:
    files["goals"]["search"]["settings"] = 4


def seed(files: Files) -> None:
    files["goals"]["search"]["seed"] = 77


def hours(files: Files) -> None:
    files["goals"]["search"]["hours"] = 0.2
    files["goals"]["search"]["workers"] = 2


def texts(files: Files) -> None:
    for change in (note, renamed, reads, currency, hours):
        change(files)


EDITS = [
    Edit("names, notes, currency, hours", "paired", texts, whole=1.0, cars=True),
    Edit("price", "paired", price, whole=1.0, cars=True),
    Edit("price", "wishbone", price, whole=1.0, cars=True),
    Edit("owned", "paired", owned, whole=1.0, cars=True),
    Edit("today", "alone", today, whole=0.5),
    Edit("part added", "paired", part_added, whole=0.7, cars=True),
    Edit("adjuster added", "paired", adjuster_added, whole=0.7),
    Edit("twin added", "wishbone", twin_added, whole=1.0, cars=True),
    Edit("part removed", "alone", part_removed, whole=1.0, cars=True),
    Edit("parts in another order", "paired", moved_in_file, whole=1.0, cars=True),
    Edit("station added", "paired", station_added, whole=0.5, cars=True),
    Edit("steering stop added", "alone", stop_added, whole=0.5, cars=True),
    Edit("steering stop added", "paired", stop_added, some=0.5),
    Edit("station removed", "wishbone", station_removed, whole=1.0),
    Edit("adjuster range", "paired", range_grown),
    Edit("adjuster error", "alone", error_told, whole=1.0),
    Edit("adjuster not fine", "wishbone", coarse),
    Edit("choice renamed", "alone", choice_renamed, whole=0.0),
    Edit("stack pieces", "paired", pieces),
    Edit("effect of a part", "paired", moved_effect, whole=0.6, cars=True),
    Edit("not with", "paired", apart, whole=1.0, cars=True),
    Edit("hard point", "paired", hard_point),
    Edit("car's name", "alone", car_named, whole=1.0, cars=True),
    Edit("masses", "alone", masses),
    Edit("limit of one duty", "paired", limit, some=1.0),
    Edit("limit removed", "wishbone", limit_removed, some=1.0),
    Edit("target weight", "paired", weight, some=1.0),
    Edit("asks in another order", "alone", asks_reordered, some=1.0),
    Edit("target on the price", "alone", target_on_price, some=1.0),
    Edit("lowered by", "alone", lowered, some=1.0),
    Edit("toe of one duty", "paired", toe, some=1.0),
    Edit("duty added", "alone", duty_added, some=1.0),
    Edit("duty removed", "paired", duty_removed, some=1.0),
    Edit("duty renamed", "paired", duty_renamed, some=1.0),
    Edit("duties in another order", "alone", duties_turned, some=1.0),
    Edit("tolerance", "paired", tolerance, whole=1.0),
    Edit("overtravel", "alone", overtravel),
    Edit("least yield", "paired", least_yield, whole=1.0, cars=True),
    Edit("changeover minutes", "paired", fewer_minutes, some=1.0),
    Edit("changeover stations", "paired", allowed, some=1.0),
    Edit("no changeover", "paired", no_changeover, some=1.0),
    Edit("a changeover", "alone", a_changeover, some=1.0),
    Edit("minutes of a part", "paired", part_minutes, some=1.0),
    Edit("minutes of a part", "alone", part_minutes, whole=1.0, cars=True),
    Edit("wheel off", "paired", wheel_off, some=1.0),
    Edit("keep", "paired", keep, whole=1.0, cars=True),
    Edit("settings kept", "alone", settings),
    Edit("seed", "alone", seed, whole=1.0),
]
