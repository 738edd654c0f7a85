"""Figures and names as people read them: units, bounds, states, and what a missing figure means."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from kinematics.measures import MEASURES
from optimiser import precision
from optimiser.precision import Band, Bound, fixed, not_nothing

Record = dict[str, Any]

BOUND_DECIMALS = 9  # a bound is printed as it was written, for figures are held against it
PLAIN_NUMBERS = 1e15  # what is larger is printed with an exponent
NEXT_TO_NOTHING = 1e-5  # a bound at or below it means 'at all'

# Said where limits are shown that were held with something in hand.
IN_HAND = "limits are shown as held: the goals' bounds with their in_hand taken off"

# Demands that no one writes down; see goals.verdicts.
GATES = {
    "rod_fit": "thread_engagement",
    "linkage": "toggle_margin",
    "stud_strength": "stud_stress",
    "ball_joint_limit": "ball_joint_tilt",
    "upper_ball_joint_limit": "upper_ball_joint_tilt",
    "tie_rod_outer_limit": "tie_rod_outer_tilt",
    "tie_rod_inner_limit": "tie_rod_inner_tilt",
    "bar_linkage": "link_angle",
    "bar_linkage_at_lock": "bar_toggle",
    "top_mount_limit": "top_mount_tilt",
    "wheel_studs": "wheel_stud_engagement",
    "caliper_gap": "caliper_clearance",
    "strut_stroke": "strut_stroke_left",
    "top_mount_outline": "top_mount_room",
    "tyre_gap": "tyre_clearance",
    "rod_gap": "rod_clearance",
}
# What the gates of the anti-roll bar's linkage come to: it reaches every state.
BAR_REACHES = {"link_angle": ((None, 90.0 - 1e-6),), "bar_toggle": ((1e-6, None),)}
GAPS = ("caliper_clearance", "tyre_clearance", "rod_clearance")
PLAIN = {
    "toe_out_on_turns": "toe-out on turns",
    "lock_inner": "inner wheel lock",
    "lock_outer": "outer wheel lock",
    "stop_travel": "rack at the stop",
    "rod_fit": "thread engagement",
    "linkage": "toggle margin",
    "bar_linkage": "anti-roll bar's linkage",
    "bar_linkage_at_lock": "anti-roll bar's linkage on lock",
    "hub_fit": "wheel on hub",
    "wheel_stud_engagement": "wheel stud in nut",
    "wheel_studs": "wheel stud in nut",
    "wheel_nut_turns": "wheel nut, turns",
    "caliper_gap": "caliper clearance",
    "strut_stroke": "strut stroke left",
    "top_mount_room": "top mount in outline",
    "top_mount_outline": "top mount in outline",
    "stack_fit": "stud left unfilled",
    "tyre_gap": "tyre clearance",
    "rod_gap": "tie rod's clearance in the wheel",
    "rod_clearance": "tie rod's clearance in the wheel",
}


def clean(text: str) -> str:
    """A text from a file as one printable line."""
    return "".join(c for c in " ".join(str(text).split()) if c.isprintable())


def short(value: float, places: int = 6) -> str:
    """A number as someone wrote it: no needless zeros, no exponent unless it is huge."""
    if abs(value) >= PLAIN_NUMBERS:
        return f"{value:g}"
    text = f"{value:.{places}f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def measure_of(key: str) -> str:
    """The catalogue's name behind a label: 'bump_steer over -40..40' is about bump_steer."""
    name = key.split(" ", 1)[0]
    return GATES.get(name, name)


def plain(key: str) -> str:
    """A measure's name or label in plain words."""
    name, *rest = key.split(" ")
    words = [PLAIN.get(name, name.replace("_", " "))]
    while rest:
        word = rest.pop(0)
        if word == "at" and rest:
            words.append(f"at {rest.pop(0)} deg")
        elif word == "over" and rest:
            words.append(f"over {rest.pop(0).replace('..', ' to ')} mm")
        else:
            words.append(f"({word} wheel)")
    return " ".join(words)


def stop_words(set_by: Record) -> str:
    """What keeps the rack from going further: 'toggle margin, inner wheel, 60 mm droop'."""
    if "travel" not in set_by:
        return "the rack's own end"
    turn = f" in a {set_by['turn']} turn" if "turn" in set_by else ""
    return f"{plain(set_by['by'])}, {set_by['wheel']} wheel{turn}, {travel_words(set_by['travel'])}"


def state_words(state: Record | None) -> str:
    """The state in which a figure was decided: 'rail: inner wheel, 60 mm bump, 68.3 mm of rack'.

    Empty where it is not known.
    """
    if state is None:
        return ""
    of = clean(state.get("of", ""))
    if "basis" in state:
        wheel = f", {state['wheel']} wheel" if "wheel" in state else ""
        return f"no state: {state['basis']}{wheel}" + (f" ({spoken(of)})" if of else "")
    words = _pose_words(state["wheel"], state["travel"], state["rack"])
    return f"{of}: {words}" if of else words


def _pose_words(wheel: str, travel: float | Sequence[float], rack: float) -> str:
    """A wheel, its travel and the rack: 'left wheel, 40 mm droop, straight ahead'."""
    words = [] if wheel in ("both", "either") else [f"{wheel} wheel"]
    if isinstance(travel, (int, float)):
        height = travel_words(travel)
    else:
        height = " to ".join(travel_words(end) for end in travel)
    if rack == 0.0:
        at_rest = isinstance(travel, (int, float)) and travel == 0.0
        words += ["straight ahead at ride height"] if at_rest else [height, "straight ahead"]
    else:
        # of a wheel that is named by its side, the turn is to be told
        way = "" if wheel in ("inner", "outer", "either") or rack > 0.0 else " to the right"
        words += [height, f"{fixed(abs(rack), 1)} mm of rack{way}"]
    return ", ".join(words)


def nearest_words(nearest: Record | None) -> str:
    """To what the tyre comes nearest: 'rail, 12.3 mm: outer wheel, 40 mm bump, 52.0 mm of rack'."""
    if nearest is None:
        return "-"
    gap, rack = fixed(nearest["gap"], 1), fixed(nearest["rack"], 1)
    where = f"{nearest['wheel']} wheel, {travel_words(nearest['travel'])}, {rack} mm of rack"
    return f"{clean(nearest['to'])}, {gap} mm: {where}"


def sets_stop(record: Record, key: str) -> bool:
    """Whether the steering stop of a duty's record stands where this limit would break beyond it."""
    by = (record.get("solved") or {}).get("stop_set_by", {}).get("by", "")
    return bool(by) and measure_of(by) == measure_of(key)


def tells(record: Record, margin: Margin) -> bool:
    """Whether what a limit has in hand tells anything of how tight it is.

    Not where the stop stands at it, which has next to nothing in hand by its nature; nor of a wheel that fits
    its hub, which is yes or no.
    """
    fits = measure_of(margin.key) == "hub_fit" and margin.gap is not None and margin.gap >= 0.0
    return not fits and not sets_stop(record, margin.key)


def travel_words(travel: float) -> str:
    """A wheel travel in words: '60 mm bump', 'ride height'."""
    if travel == 0.0:
        return "ride height"
    return f"{short(abs(travel))} mm {'bump' if travel > 0.0 else 'droop'}"


def spoken(identifier: str) -> str:
    """A station's or setting's name with spaces."""
    return identifier.replace("_", " ")


def figure(
    name: str,
    value: float | None,
    bounds: Sequence[Bound] = (),
    band: Band | None = None,
    places: int | None = None,
) -> str:
    """A measure's figure for people; '-' where there is none.

    With as many decimals as :mod:`optimiser.precision` says of it by itself, or ``places`` of them where it
    stands in a row with others.
    """
    if value is None:
        return "-"
    if name == "price":
        return price(value)
    if places is None:
        places = precision.places(measure_of(name), value, bounds, band)
    return fixed(value, places)


def with_unit(text: str, unit: str) -> str:
    """A figure with its unit behind it."""
    return f"{text} {unit}" if unit and text != "-" else text


def price(value: float, currency: str = "") -> str:
    """A price, whole where it is whole."""
    text = f"{value:,.0f}" if float(value).is_integer() else f"{value:,.2f}"
    return with_unit(text, clean(currency))


def duration(seconds: float) -> str:
    """A stretch of time in words: '8 s', '4 min', '3 h 20 min'."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{int(seconds // 3600)} h {int(seconds % 3600 // 60)} min"


def counted(number: int, word: str) -> str:
    """A number with its word, in the plural where there is not one."""
    return f"{number:,} {word}" if number == 1 else f"{number:,} {word}s"


def bound_words(name: str, bound: Bound) -> str:
    """A limit's bounds: '>= 20', '<= 0.2', '20 to 90'."""
    low, high = bound
    if tuple(bound) in BAR_REACHES.get(measure_of(name), ()):
        return "in reach"
    if low is not None and high is not None:
        return f"{short(low, BOUND_DECIMALS)} to {short(high, BOUND_DECIMALS)}"
    if high is not None:
        return f"<= {short(high, BOUND_DECIMALS)}"
    assert low is not None
    if measure_of(name) == "toggle_margin" and low <= NEXT_TO_NOTHING:
        return "not over centre"
    if measure_of(name) in GAPS and low <= NEXT_TO_NOTHING:
        return "not touching"
    return f">= {short(low, BOUND_DECIMALS)}"


def bounds_of(entry: Record) -> list[Bound]:
    """Bounds of a measure's entry, none where nothing limits it."""
    bounds: list[Bound] = entry.get("bounds", [])
    return bounds


def why_missing(name: str) -> str:
    """Why a measure may have no figure."""
    measure = MEASURES.get(measure_of(name))
    if measure is None:
        return "no figure"
    if measure.name.endswith("_tilt") or "antiroll_bar.pivot" in measure.needs_car:
        return "not told or not reached"
    if measure.name in ("tyre_clearance", "rod_clearance"):
        return "nothing declared or not reached"
    if measure.name == "stud_stress":
        return "no strength told"
    if measure.name == "stack_fit":
        return "no stack of a given length"
    if measure.name in ("hub_fit", "wheel_stud_engagement", "wheel_nut_turns"):
        return "hub or wheel not told"
    if measure.name == "caliper_clearance":
        return "caliper or wheel not told"
    if measure.name == "strut_stroke_left":
        return "not told or not reached"
    if measure.needs_car:
        sections = sorted({name.partition(".")[0] for name in measure.needs_car})
        return f"car file lacks {' or '.join(sections)}"
    if measure.name == "thread_engagement":
        return "no rod kit"
    return "not reached"


def distance(value: float, bound: Bound) -> float:
    """Distance to the nearer bound, negative where the value is beyond it."""
    low, high = bound
    gaps = [value - low] if low is not None else []
    if high is not None:
        gaps.append(high - value)
    return min(gaps)


@dataclass(frozen=True)
class Margin:
    """How far one figure is from the bound that is nearest, in the measure's unit; None: no figure.

    ``state`` is where the figure was decided (:mod:`optimiser.states`), None where it is not known; ``band``
    its 5 to 95 percent band over cars as built, where it has one.
    """

    duty: str
    key: str
    value: float | None
    bound: Bound
    gap: float | None
    because: str = ""
    state: Record | None = None
    band: Band | None = None

    @property
    def in_scales(self) -> float:
        """The gap in differences that a builder would notice, to put measures side by side."""
        if self.gap is None:
            return float("-inf")
        return self.gap / MEASURES[measure_of(self.key)].scale

    @property
    def unit(self) -> str:
        """The measure's unit."""
        return MEASURES[measure_of(self.key)].unit

    def value_words(self) -> str:
        """The figure with its unit."""
        return with_unit(figure(self.key, self.value, [self.bound], self.band), self.unit)

    def state_words(self) -> str:
        """In which state the figure was decided; empty where that is not known."""
        return state_words(self.state)

    def bound_words(self) -> str:
        """The bound in words."""
        return bound_words(self.key, self.bound)

    def hand_words(self) -> str:
        """How much is in hand, or how much is lacking."""
        if self.gap is not None and self.gap < 0.0:
            return f"lacks {self.gap_words()}"
        return self.gap_words()

    def gap_words(self) -> str:
        """The gap's size with its unit, or why there is none."""
        if self.gap is None:
            return why_missing(self.key)
        places = precision.places(measure_of(self.key), self.value, [self.bound], self.band)
        # a gap that is there is never rounded to nothing
        size = abs(self.gap)
        return with_unit(fixed(size, not_nothing(size, places)), self.unit)


def margins(duty: str, record: Record) -> Iterator[Margin]:
    """Every limit of one duty's record with its margin."""
    bands = bands_in(record)
    for key, entry in record.get("measures", {}).items():
        value = entry["value"]
        bounds = bounds_of(entry)
        for bound in bounds:
            one = None if isinstance(value, list) else value
            gap = None if one is None else distance(one, bound)
            if gap is not None and len(bounds) == 1:
                # the value is one wheel's, the shortfall that of the worse one
                gap = min(gap, -entry["shortfall"] * MEASURES[measure_of(key)].scale or gap)
            because, state = entry.get("because", ""), entry.get("state")
            yield Margin(duty, key, one, bound, gap, because, state, bands.get(key))


def bands_in(record: Record) -> Record:
    """The 5 to 95 percent bands that a duty's record has of its figures, by their keys."""
    found: Record = record.get("bands") or (record.get("as_built") or {}).get("bands") or {}
    return found


def keeps_in_hand(duties: Iterable[Record]) -> bool:
    """Whether any limit of some duties' records was held with something in hand."""
    return any("in_hand" in e for record in duties for e in record.get("measures", {}).values())


def failing(duty: str, record: Record) -> list[Margin]:
    """The limits of one duty that do not hold, worst first."""
    judged = record.get("measures", {})
    missed = [
        m
        for m in margins(duty, record)
        if judged[m.key]["limit"] is False and (m.gap is None or m.gap < 0.0)
    ]
    return sorted(missed, key=lambda m: m.in_scales)


def fault_words(margin: Margin) -> str:
    """What a failing limit has and what it needs, in which state, and why where that is known."""
    told = [words for words in (margin.because, margin.state_words()) if words]
    # of a strut the reason is the state's own thing
    if margin.because and margin.because.startswith((margin.state or {}).get("of", "\0")):
        told = [margin.state_words()]
    return ": ".join([_fault(margin), *told])


def _fault(margin: Margin) -> str:
    needs = f"needs {bound_words(margin.key, margin.bound)}"
    if margin.value is None:
        return f"{why_missing(margin.key)}, {needs}"
    text = margin.value_words()
    name = measure_of(margin.key)
    if name == "roll_centre_height" and margin.value < 0.0:
        return f"{text.lstrip('-')} under the ground, {needs}"
    if name == "thread_engagement":
        return f"{text}, {needs}: no adjuster in the box fits"
    if name == "toggle_margin" and margin.value <= 0.0:
        return f"goes over centre or out of reach, {needs}"
    return f"{text}, {needs}"


def unpaired_words(pairing: Record) -> str:
    """Why no settings of the duties go together, and what would be the quickest that do."""
    beyond = pairing.get("beyond")
    if beyond is None:
        return str(pairing["reason"])
    allowed = short(pairing["allowed"])
    return f"the quickest swap takes {short(beyond['minutes'])} minutes, the goals allow {allowed}"


def lacks(duty: str, record: Record) -> str:
    """What one duty lacks, in a line."""
    if record.get("reason"):
        return f"{duty}: {record['reason']}"
    short_of = [
        f"{plain(m.key)} {m.gap_words()}" + "".join(f" ({note})" for note in _notes(m, record))
        for m in failing(duty, record)
    ]
    ruled_out = f"; {record['ruled_out']}" if record.get("ruled_out") else ""
    return f"{duty} lacks: {', '.join(short_of) or 'a limit'}{ruled_out}"


def _notes(margin: Margin, record: Record) -> list[str]:
    """What is said behind a shortfall: what it needs, or what keeps the rack from giving more lock."""
    notes = [note for note in (measure_note(margin), margin.state_words()) if note]
    by = (record.get("solved") or {}).get("stop_set_by", {})
    if measure_of(margin.key).startswith("lock_") and "travel" in by:
        notes.append(f"stop set by {plain(by['by'])}")
    return notes


def measure_note(margin: Margin) -> str:
    """A word beside a shortfall where the plain size would mislead, or where the reason is known."""
    if margin.gap is None:
        return f"needs {bound_words(margin.key, margin.bound)}"
    return margin.because


_WAYS = (("forward", "back"), ("outboard", "inboard"), ("up", "down"))


def direction(vector: Sequence[float]) -> str:
    """Where a left-hand shift goes, in words; by components where it lies along no axis."""
    moving = [(i, v) for i, v in enumerate(vector) if abs(v) > 1e-9]
    words = [_WAYS[i][0 if v > 0 else 1] for i, v in moving]
    return " and ".join(words)


def shift_words(vector: Sequence[float]) -> str:
    """A left-hand shift in mm and words: '16 mm forward'."""
    return ", ".join(
        f"{short(abs(v))} mm {_WAYS[i][0 if v > 0 else 1]}"
        for i, v in enumerate(vector)
        if abs(v) > 1e-9
    )
