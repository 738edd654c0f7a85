"""Spoilt files: one or a few places of a sound one put wrong, as data or as text.

Every place of a file may be hit: a value, a whole section, a key. What is put there is what people and
broken programs write: other types, NaN, infinities, huge and tiny numbers, another place's value (so that
points coincide and axes lie along each other), words that are paths, markup or control characters.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import yaml

Chance = np.random.Generator
Place = tuple[Any, Any]

NUMBERS: tuple[Any, ...] = (
    *(
        0,
        -0.0,
        1,
        -1,
        0.5,
        1e-9,
        5e-324,
        1e-300,
        1e6,
        1e9,
        1e18,
        1e300,
        -1e300,
        1.7976931348623157e308,
    ),
    *(math.nan, math.inf, -math.inf, 10**30, 2**63, -(2**63), 10**400, True, False),
)
WORDS: tuple[Any, ...] = (
    *(
        "",
        " ",
        "x",
        "5",
        "5 mm",
        "2 in",
        "1 e9 mm",
        "nan mm",
        "inf",
        "-0 deg",
        "3 kg",
        "0x10",
        "010",
        "1_0",
    ),
    *(
        "on",
        "null",
        "~",
        "as_is",
        "today",
        "left",
        "wheel",
        "car.yaml",
        "goals.yaml",
        ".",
        "..",
        "/",
        "/dev/zero",
    ),
    *(
        "../../../../etc/passwd",
        "a\0b",
        "\x1b[31mred",
        "\x07",
        "\u202eevil",
        "\ufeff",
        "a\nb",
        "é" * 50,
    ),
    *(
        "[red]x[/red]",
        "[link=x]",
        "<script>alert(1)</script>",
        "=1+1",
        "{{7*7}}",
        "%s%n",
        "x" * 10_000,
    ),
    *("$(id)", "__import__('os')", "!!python/object:os.system", "9" * 500),
)
OTHERS: tuple[Any, ...] = (
    *(
        None,
        [],
        {},
        [[]],
        [{}],
        {"": 0},
        [0],
        [0, 0],
        [0, 0, 0],
        [1, 2, 3, 4],
        [[0, 0], [0, 0]],
        {"min": 0},
    ),
    *(
        {"max": 0},
        {"min": 5, "max": 1},
        {"min": None, "max": None},
        {"value": 0},
        {"id": "x"},
        {5: 5},
    ),
    *(
        {"points": []},
        {"points": [[0, 0]]},
        {"step": 0},
        {"min": 0, "max": 1e9, "step": 1e-6},
        [None] * 50,
    ),
)


def places(data: Any) -> Iterator[Place]:
    """Every mapping or list in the data with each of its keys."""
    if isinstance(data, dict | list):
        for key in list(data) if isinstance(data, dict) else range(len(data)):
            yield data, key
            yield from places(data[key])


def pick(chance: Chance, among: Any) -> Any:
    return among[int(chance.integers(len(among)))]


def _near(chance: Chance, value: Any) -> Any:
    """A number near another, or of another size or sign."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return pick(chance, NUMBERS)
    ways: tuple[Callable[[float], Any], ...] = (
        lambda v: -v,
        lambda v: v * 1e3,
        lambda v: v * 1e-3,
        lambda v: v * (1 + 1e-12),
        lambda v: v + float(chance.normal(0, 30)),
        lambda v: v * float(chance.uniform(0, 3)),
        lambda v: f"{v} mm",
        lambda v: str(v),
        lambda v: [v],
        lambda v: round(v),
    )
    try:
        return pick(chance, ways)(value)
    except (OverflowError, ValueError):
        return value


def _put_other(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    # a copy: it may be spoilt itself, and must be as it was for the next file
    holder[key] = copy.deepcopy(pick(chance, pick(chance, (NUMBERS, WORDS, OTHERS))))


def _put_near(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    holder[key] = _near(chance, holder[key])


def _put_anothers(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    """Another place's value; mostly one of the same kind, so that it stays readable."""
    alike = [p for p in everywhere if isinstance(p[0][p[1]], type(holder[key]))]
    there, at = pick(chance, alike if chance.integers(4) else everywhere)
    holder[key] = copy.deepcopy(there[at])


def _swap(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    other = pick(chance, list(holder) if isinstance(holder, dict) else range(len(holder)))
    holder[key], holder[other] = holder[other], holder[key]


def _drop(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    del holder[key]


def _grow(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    """More of the same, up to very many, or a key that nobody knows."""
    if isinstance(holder, list):
        holder.extend(
            copy.deepcopy(holder[key]) for _ in range(int(pick(chance, (1, 2, 40, 2000))))
        )
    else:
        name = pick(chance, (f"{key}x", "min", "max", "note", "points", "", 5, "wheel", "<one>"))
        holder[name] = copy.deepcopy(holder[key])


def _empty(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    if isinstance(holder[key], dict | list):
        holder[key].clear()
    else:
        holder[key] = pick(chance, (None, "", 0))


def _turn_round(chance: Chance, holder: Any, key: Any, everywhere: list[Place]) -> None:
    if isinstance(holder[key], list):
        holder[key].reverse()
    else:
        holder[key] = [holder[key]]


WAYS = (
    *(_put_other, _put_other, *((_put_near,) * 8), *((_put_anothers,) * 4)),
    *(_swap, _drop, _grow, _empty, _turn_round),
)


def spoil_data(chance: Chance, data: Any, aimed: int | None = None) -> Any:
    """A copy of the data with a few places put wrong, the first of them of the given number if told."""
    data = copy.deepcopy(data)
    for each in range(int(pick(chance, (1, 1, 1, 1, 2, 4)))):
        everywhere = list(places(data))
        if not everywhere:
            return data
        at = aimed if each == 0 and aimed is not None else int(chance.integers(len(everywhere)))
        holder, key = everywhere[at % len(everywhere)]
        pick(chance, WAYS)(chance, holder, key, everywhere)
    return data


# the quick one, where the library brings it
_Dumper: Any = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


class _Plain(_Dumper):  # type: ignore[misc]
    """Writes what is shared twice, as people do."""

    def ignore_aliases(self, data: object) -> bool:
        return True


def as_yaml(data: Any) -> bytes:
    """Data as YAML text; what cannot be written so (lone surrogates) is passed on as bytes."""
    text: str = yaml.dump(data, Dumper=_Plain, sort_keys=False, allow_unicode=True)
    return text.encode("utf-8", "surrogatepass")


SNIPPETS = (
    *(
        "\t",
        "  ",
        "\n",
        "\n\n",
        ": ",
        "- ",
        "? ",
        "[",
        "]",
        "{",
        "}",
        "&a ",
        "*a",
        "*b",
        "<<: ",
        "!!int ",
    ),
    *(
        "!!python/object/apply:os.system ['id']",
        "!x ",
        "|",
        ">",
        "'",
        '"',
        "#",
        "%",
        "@",
        "`",
        ",",
        "---",
        "...",
    ),
    *(
        "\0",
        "\ufeff",
        "\x85",
        "\u2028",
        "\\x1b",
        "&a [*a, *a]",
        "? [a, b] : c",
        "1e999",
        ".nan",
        "-.inf",
        "0o77",
    ),
    *(
        "999999999999999999999999",
        "2026-11-25",
        "12:30:45",
        "~",
        "yes",
        "\r",
        "\r\n",
        ";",
        ";;",
        "1,5",
    ),
)


def spoil_text(chance: Chance, raw: bytes) -> bytes:
    """A text cut, doubled, mixed up or put in another encoding, in one place or a few."""
    text = raw.decode("utf-8", "surrogatepass")
    for _ in range(int(pick(chance, (1, 1, 2, 4)))):
        start = int(chance.integers(len(text) + 1))
        end = min(len(text), start + int(pick(chance, (0, 1, 3, 12, 80))))
        way = int(chance.integers(5))
        middle = ("", text[start:end] * 2, pick(chance, SNIPPETS), text[start:end].swapcase(), "")[
            way
        ]
        text = text[:start] + middle + text[end:]
        if way == 4:
            lines = text.split("\n")
            one, other = (int(chance.integers(len(lines))) for _ in range(2))
            lines[one], lines[other] = lines[other], lines[one]
            text = "\n".join(lines)
    encoding = str(pick(chance, ("utf-8",) * 12 + ("utf-16", "utf-8-sig", "latin-1", "utf-32")))
    return text.encode(encoding, "surrogatepass" if encoding != "latin-1" else "replace")


def spoil_bytes(chance: Chance, raw: bytes) -> bytes:
    """Bytes of which some are others."""
    data = bytearray(raw)
    for _ in range(int(pick(chance, (1, 2, 8)))):
        if data:
            data[int(chance.integers(len(data)))] = int(chance.integers(256))
    return bytes(data)
