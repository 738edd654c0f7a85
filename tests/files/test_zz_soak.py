"""Whatever stands in the files, loading ends in a ``Loaded`` or an ``InputError``, and soon."""

from __future__ import annotations

import json
import tempfile
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from goals.document import read_document
from goals.faults import InputError
from goals.reading import Loaded, load_goals
from tests.files.inputs import CAR, GOALS, GOOD, PARTS, lay

# Generous for a slow machine; typical is a few milliseconds.
BOUNDED = settings(deadline=3000, suppress_health_check=list(__import__("hypothesis").HealthCheck), max_examples=3000)
NAMES = st.sampled_from(sorted(name.removesuffix(".yaml") for name in GOOD))


def outcome(**changed: str | bytes) -> Loaded | InputError:
    """How loading ends; anything but these two fails the test by being raised."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            return load_goals(lay(Path(folder), **changed))
        except InputError as error:
            assert error.faults
            for fault in error.faults:
                assert fault.found
                assert "\n" not in str(fault)
                str(fault).encode()  # can be printed
            return error


@BOUNDED
@given(NAMES, st.binary(max_size=300))
def test_any_bytes(name: str, raw: bytes) -> None:
    outcome(**{name: raw})


@BOUNDED
@given(NAMES, st.text(max_size=300))
def test_any_text(name: str, text: str) -> None:
    outcome(**{name: text.encode("utf-8", "surrogatepass")})


VALUES: st.SearchStrategy[Any] = st.recursive(
    st.sampled_from(
        [None, True, 0, 1, -1, 2.5, 1e300, -1e300, 5e-324, 10**40, "x", "5 mm", "2 kg", "", "\0"]
    ),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(st.sampled_from(["min", "max", "id", "5", "wheel", "<one>"]), inner)
    ),
    max_leaves=8,
)


def _places(data: Any) -> list[tuple[Any, Any]]:
    """Every mapping or list in the data with each of its keys."""
    if not isinstance(data, dict | list):
        return []
    keys = list(data) if isinstance(data, dict) else list(range(len(data)))
    return [(data, key) for key in keys] + [each for key in keys for each in _places(data[key])]


@settings(deadline=3000, suppress_health_check=list(__import__("hypothesis").HealthCheck), max_examples=300000)
@given(st.sampled_from(["goals", "car", "parts"]), st.data())
def test_any_value_in_any_place(name: str, data: st.DataObject) -> None:
    good = read_document("", {"goals": GOALS, "car": CAR, "parts": PARTS}[name].encode()).data
    for _ in range(data.draw(st.integers(1, 3))):
        holder, key = data.draw(st.sampled_from(_places(good)))
        if data.draw(st.booleans()):
            holder[key] = data.draw(VALUES)
        elif isinstance(holder, dict) and len(holder) > 1:
            del holder[key]
    # JSON is YAML; its keys are texts, which sound pieces cannot all be, but faults will do here.
    outcome(**{name: json.dumps(good)})


@BOUNDED
@given(NAMES, st.data())
def test_any_cut_or_swap_of_a_sound_file(name: str, data: st.DataObject) -> None:
    text = GOOD[f"{name}.yaml"]
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 30)))
    middle = data.draw(st.text(st.sampled_from("ab01:-[]{},#&*!|>'\"%@` \n\t?<~.§"), max_size=5))
    outcome(**{name: text[:start] + middle + text[end:]})
