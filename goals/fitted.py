"""Hub, wheel, brake and strut as parts and car tell of them: sums without a base, and what stays unjudged."""

from __future__ import annotations

from collections.abc import Iterator

from goals.car import Hub
from goals.faults import Fault
from goals.parts import HubNumbers, StrutNumbers, WheelNumbers
from goals.section import Section

_WHEEL = ("bolts", "pitch_circle", "bore", "pad")
# Numbers that the car file need not tell: a part can add to one only where somebody tells it.
_TOLD_BY_CHOICE = {
    "hub": tuple(HubNumbers.model_fields),
    "wheel": tuple(name for name in WheelNumbers.model_fields if name in _WHEEL),
    "strut": tuple(StrutNumbers.model_fields),
}
# A wheel whose shape changes so has another inside.
_SHAPE = ("offset", "width")


def check_fitted(car: Section, parts: Section) -> Iterator[Fault]:
    """Faults of parts that add to a number which neither the car nor any part tells."""
    told = {
        (section, name): _told(car, parts, section, name)
        for section, names in _TOLD_BY_CHOICE.items()
        for name in names
    }
    for part in _parts(parts):
        for adds in adds_of(part):
            for section, names in _TOLD_BY_CHOICE.items():
                for name in names:
                    if _given(adds, section, name) and not told[section, name]:
                        yield adds.down(section, name).fault(
                            f"adds to {section}.{name}, which neither the car nor any part tells",
                            f"'{section}: {{{name}: …}}' in the car file, or in a part's 'sets'",
                            key=True,
                        )


def fitted_notices(car: Section, parts: Section) -> list[str]:
    """What is told by half, so that a gate which one would count on does not hold."""
    notices = []
    hub = {name for name in Hub.model_fields if _told(car, parts, "hub", name)}
    wheel = {name for name in _WHEEL if _told(car, parts, "wheel", name)}
    circle = {"bolts", "pitch_circle"}
    if (circle <= hub) != (circle <= wheel):
        notices.append(
            "whether wheels fit the hub's studs is not judged: 'bolts' and 'pitch_circle' are told of "
            "only one of hub and wheel"
        )
    least = "engagement" in hub or "stud_diameter" in hub
    if "stud_length" in hub and not ("pad" in wheel and least):
        lacks = "'hub.stud_diameter' or 'hub.engagement'" if "pad" in wheel else "'wheel.pad'"
        notices.append(f"how far wheel studs reach is not judged: {lacks} is not told")
    if _told(car, parts, "brake", "profile"):
        notices += _unknown_insides(car, parts)
    return notices


def _unknown_insides(car: Section, parts: Section) -> Iterator[str]:
    """A notice for each wheel whose inside is not told though the caliper is."""
    if not _told(car, parts, "wheel", "barrel"):
        yield "whether wheels clear the caliper is not judged: no wheel's 'barrel' is told"
        return
    for part in _parts(parts):
        wheel = part.down("sets", "wheel").mapping()
        if any(name in wheel for name in _SHAPE) and wheel.get("barrel") is None:
            name = part.mapping().get("id")
            yield f"whether {name} clears the caliper is not judged: its 'barrel' is not told"


def _parts(parts: Section) -> Iterator[Section]:
    for _, station in parts.down("stations").items():
        for _, part in station.items():
            if isinstance(part.data, dict):
                yield part


def adds_of(part: Section) -> Iterator[Section]:
    """Every place where a part adds to numbers: of its own, by a choice, by an adjuster."""
    yield part.down("adds")
    for _, choice in part.down("choices").items():
        for _, position in choice.items():
            yield position.down("adds")
    for _, adjuster in part.down("adjusts").items():
        yield adjuster.down("adds")


def _given(holder: Section, section: str, name: str) -> bool:
    return holder.down(section).mapping().get(name) is not None


def _told(car: Section, parts: Section, section: str, name: str) -> bool:
    if _given(car, section, name):
        return True
    return any(_given(part.down("sets"), section, name) for part in _parts(parts))
