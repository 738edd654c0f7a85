"""What a ledger's rows and records are made of, to the last field, as :mod:`optimiser.builds` writes them.

A run folder may come from anyone. What has another shape is refused when it is read, so that whoever uses a
row need not ask whether its fields are there and of their kind. Figures are finite, texts short and without
control characters; a mapping with fields of its own takes no others.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Self

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError, model_validator

# Far beyond any figure of a car; sums and squares of such figures are finite still.
MOST = 1e100
# A number of settings may leave 64 bits.
MOST_WHOLE = 10**60
# A word of a file has at most 80 letters, a reason is a sentence or two.
MOST_LETTERS = 2000

Figure = Annotated[float, Field(ge=-MOST, le=MOST)]
Maybe = Figure | None
Share = Annotated[float, Field(ge=0.0, le=1.0)]
Whole = Annotated[int, Field(ge=0, le=MOST_WHOLE)]
Text = Annotated[str, Field(pattern=r"^[^\x00-\x1f\x7f-\x9f]*$", max_length=MOST_LETTERS)]
Figures = list[Figure]
Positions = list[Whole]
Band = Annotated[list[Figure], Field(min_length=2, max_length=2)]
Bound = Annotated[list[Maybe], Field(min_length=2, max_length=2)]
Values = Maybe | list[Maybe]
# JSON has lists for pairs
Kept = Annotated[tuple[Figure, Positions], Field(strict=False)]


class Told(BaseModel):
    """A mapping of a run folder; a field with a default may be left out."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)


class Entry(Told):
    """A measure's figure: :func:`optimiser.evaluate.measures_of`."""

    value: Values
    unit: Text
    limit: bool | None
    miss: Maybe
    at: Figures = Field(default_factory=list)
    sides: dict[Text, Values] = Field(default_factory=dict)
    shortfall: Figure = 0.0
    bounds: list[Bound] = Field(default_factory=list)
    in_hand: Figures = Field(default_factory=list)
    because: Text = ""
    state: dict[Text, Figure | Text | Figures] = Field(default_factory=dict)
    wanted: Figure | Figures = 0.0
    tolerance: Figure = 0.0

    @model_validator(mode="after")
    def _whole(self) -> Self:
        """What is asked is told whole: bounds with their shortfall, each point with its figure."""
        given = self.model_fields_set
        must((self.limit is not None) == ("bounds" in given) == ("shortfall" in given))
        must((self.miss is not None) == ("wanted" in given) == ("tolerance" in given))
        must(all(low is not None or high is not None for low, high in self.bounds))
        points = [self.value, *self.sides.values()] + [self.wanted] * ("wanted" in given)
        if "at" in given:
            must(all(isinstance(p, list) and len(p) == len(self.at) for p in points))
            must(bool(self.at))
        else:
            must(not any(isinstance(p, list) for p in points))
        return self


class StopSetBy(Told):
    """What keeps the rack from going further, and where it does."""

    by: Text
    travel: Figure = 0.0
    turn: Text = ""
    wheel: Text = ""

    @model_validator(mode="after")
    def _whole(self) -> Self:
        must(("travel" in self.model_fields_set) == ("wheel" in self.model_fields_set))
        return self


class TyreNearest(Told):
    """To what the tyre comes nearest, and where."""

    to: Text
    gap: Figure
    wheel: Text
    travel: Figure
    rack: Figure


class Rod(Told):
    """A tie rod's length, none where the settings cannot stand, and its adjuster."""

    length: Maybe
    adjuster: Maybe = None
    engagement: Maybe = None
    threads_showing: Maybe = None
    pitch: Figure = 0.0
    flats: Whole = 0

    @model_validator(mode="after")
    def _whole(self) -> Self:
        of_kit = {"adjuster", "engagement", "threads_showing", "pitch", "flats"}
        must(self.model_fields_set & of_kit in (set(), of_kit))
        return self


class BarLink(Told):
    """The anti-roll bar's links between joints."""

    left: Maybe
    right: Maybe
    right_free: Maybe


class Solved(Told):
    """What follows from the settings: :func:`optimiser.evaluate.solved_of`."""

    lowered_by: Figure
    toe: Figure
    rack_travel: Figure
    rack_per_turn: Figure
    stop: Figure
    stop_set_by: StopSetBy
    tyre_nearest: TyreNearest = None  # type: ignore[assignment]
    tie_rod: Rod
    tie_rod_right: Rod = None  # type: ignore[assignment]
    bar_link: BarLink = None  # type: ignore[assignment]


class Refined(Told):
    """What was set finer than the grid's steps."""

    grid_merit: Figure
    stood: dict[Text, dict[Text, Figure]] = Field(alias="from")


class Sweep(Told):
    """What sweeping a duty found: of it a rerun makes the rest again."""

    settings_swept: Whole
    refused_by: dict[Text, Whole] = Field(default_factory=dict)
    kept: list[Kept] = Field(default_factory=list)
    ruled_out: Text = ""
    positions: Positions = Field(default_factory=list)
    reason: Text = ""


class KnownSweep(Sweep):
    """The same where it has to be told whole."""

    refused_by: dict[Text, Whole]


# What a setting tells, beside what sweeping found.
SETTING = frozenset({"positions", "settings", "solved", "measures"})


class Duty(Sweep):
    """One duty of a build."""

    feasible: bool
    merit: Maybe
    shortfalls: dict[Text, Figure]
    settings: dict[Text, dict[Text, Figure | Text | Figures]] = Field(default_factory=dict)
    solved: Solved = None  # type: ignore[assignment]
    measures: dict[Text, Entry] = Field(default_factory=dict)
    refined: Refined = None  # type: ignore[assignment]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        """A duty has a setting with all its figures, or a reason why it has none."""
        given = self.model_fields_set
        there = given & SETTING
        must(there == SETTING if there else bool(self.reason))
        must("refined" not in given or bool(there))
        must("refused_by" in given or not (there or self.settings_swept))
        must(bool(there) or not self.feasible)
        must(self.merit is not None or not there)
        must(self.feasible != bool(self.shortfalls) or not there)
        return self


class Together(Told):
    """Settings of several duties that go together."""

    minutes: Figure
    merit: Figure
    mean: Figure
    merits: dict[Text, Figure]
    room: Maybe
    differs: list[Text]
    resets_rod: bool
    untold: list[Text]
    positions: dict[Text, Positions]
    settings: dict[Text, dict[Text, dict[Text, Figure | Text | Figures]]]


class Pairing(Told):
    """How the duties' settings go together, or why they do not."""

    found: bool
    minutes: Maybe
    allowed: Maybe
    differs: list[Text] | None
    alone: dict[Text, Maybe]
    front: list[Together]
    reason: Text = ""
    beyond: Together = None  # type: ignore[assignment]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        given = self.model_fields_set
        must(self.found == (self.minutes is not None) == (self.differs is not None))
        must(self.found == bool(self.front) == ("reason" not in given))
        must("beyond" not in given or self.allowed is not None)
        return self


class Row(Told):
    """A finished build: :func:`optimiser.builds.search_build`."""

    build: Whole
    parts: dict[Text, Text]
    price: Figure
    to_buy: list[Text]
    pairing: Pairing | None = None
    duties: Annotated[dict[Text, Duty], Field(min_length=1)]


class Failed(Told):
    """A build, or a candidate as built, that could not be judged."""

    failed: Text


class FailedRow(Failed):
    """A build that could not be searched."""

    build: Whole


class FailedCar(Failed):
    """A candidate that could not be built many times."""

    number: Whole
    enough: bool


class Error(Told):
    """An error's share of a figure's variance."""

    error: Text
    share: Figure


class Matters(Told):
    """Which errors matter most."""

    errors: list[Error]
    explained: Figure


class DutyAsBuilt(Told):
    """One duty of a candidate as built: :func:`optimiser.yields.sample_duty`."""

    yields: Share = Field(alias="yield")
    yield_error: Figure
    limits: dict[Text, Share]
    matters: dict[Text, Matters | None]
    stop_band: Band | None
    yield_at_printed_stop: Share
    merit_band: Band | None
    bands: dict[Text, Band | list[Band | None] | None]
    missing: dict[Text, Figure]
    curves: dict[Text, Figures | list[Band | None]]


class AsBuilt(Told):
    """What becomes of a candidate as built: :func:`optimiser.yields.sample_row`."""

    number: Whole
    samples: Whole
    yields: Share = Field(alias="yield")
    yield_error: Figure
    enough: bool
    merit: Maybe
    merit_band: Band | None
    merit_matters: Matters | None
    merits: Figures
    duties: dict[Text, DutyAsBuilt]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        must(len(self.merits) == self.samples)
        return self


def must(sound: bool) -> None:
    if not sound:
        raise ValueError("its fields do not go together")


class RankedDuty(BaseModel):
    """What ranking reads of a duty."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)

    feasible: bool
    merit: Maybe
    shortfalls: dict[str, Figure]

    @model_validator(mode="after")
    def _whole(self) -> Self:
        must(self.merit is not None or not self.feasible)
        return self


class RankedPairing(BaseModel):
    """What ranking reads of a pairing."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)

    found: bool
    minutes: Maybe


class RankedRow(BaseModel):
    """What ranking reads of a row; the rest of it is looked at where it is kept."""

    model_config = ConfigDict(strict=True, allow_inf_nan=False)

    build: Whole
    price: Figure
    pairing: RankedPairing | None = None
    duties: Annotated[dict[str, RankedDuty], Field(min_length=1)]


RANKED = TypeAdapter(RankedRow)
ROW = TypeAdapter(Row)
FAILED_ROW = TypeAdapter(FailedRow)
AS_BUILT: TypeAdapter[Any] = TypeAdapter(AsBuilt | FailedCar)
SWEEPS: TypeAdapter[Any] = TypeAdapter(dict[Text, KnownSweep])


# What the checker calls a fault, in words.
_SAID = {
    "missing": "is missing",
    "extra_forbidden": "is not known",
    "value_error": "does not go with what stands beside it",
    "finite_number": "is no finite number",
    "string_pattern_mismatch": "has a control character in it",
    "string_too_long": "is far too long",
}
_BRANCH = re.compile(r"[\[(]|^constrained-|^(float|str|int)$")


def misfit(shape: TypeAdapter[Any], told: object) -> str | None:
    """Where something has not a shape, and what is wrong there; None where it has."""
    try:
        shape.validate_python(told)
    except ValidationError as error:
        first = error.errors(include_url=False, include_context=False, include_input=False)[0]
        # the checker's own names of branches are no keys
        steps = [str(step) for step in first["loc"] if not _BRANCH.search(str(step))]
        words = _SAID.get(first["type"], "is not of its kind")
        return f"{ascii('.'.join(steps) or 'it')[1:-1][:200]} {words}"
    return None
