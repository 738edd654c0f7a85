"""A YAML 1.2 file as plain data, with the line and column of every key and value.

PyYAML reads YAML 1.1, where ``on`` is true, ``010`` is eight and ``1:30`` is ninety. The composer is
kept (it gives places), its guesses at plain words are replaced by the YAML 1.2 core schema, and plain
data is built here, so that no tag can ever make an object.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import yaml

from goals.faults import Fault, show
from goals.syntax import in_plain_words

MAX_BYTES = 1_000_000
MAX_DEPTH = 40
MAX_NODES = 30_000
MAX_DIGITS = 60

# Control characters but for tabs and ends of lines.
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x84\x86-\x9f]")

# A path into the data: keys as written (numbers as their text) and list indices as text.
Path = tuple[str, ...]

# Stands in a path for a key that could not be read: its mapping may lack something for that reason.
NO_KEY = "\0key"

_TAG = "tag:yaml.org,2002:"
# The core schema of YAML 1.2.2, section 10.3.2, with the first characters each can have.
_CORE = (
    ("null", r"~|null|Null|NULL|", ["~", "n", "N", ""]),
    ("bool", r"true|True|TRUE|false|False|FALSE", list("tTfF")),
    ("int", r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+", list("-+0123456789")),
    (
        "float",
        r"[-+]?(?:\.[0-9]+|[0-9]+(?:\.[0-9]*)?)(?:[eE][-+]?[0-9]+)?"
        r"|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)",
        list("-+.0123456789"),
    ),
)
_WORDS = {tag: re.compile(rf"(?:{pattern})\Z") for tag, pattern, _ in _CORE}


@dataclass(frozen=True)
class Place:
    """Line and column, both from 1."""

    line: int
    column: int


@dataclass(frozen=True)
class Document:
    """Plain data of one file, where each key and value stands, and what is wrong so far.

    ``broken`` holds the paths whose value is known to be wrong and told; later checks add to it and
    leave alone what is below.
    """

    file: str
    data: Any = None
    keys: Mapping[Path, Place] = field(default_factory=dict)
    values: Mapping[Path, Place] = field(default_factory=dict)
    broken: set[Path] = field(default_factory=set)
    faults: tuple[Fault, ...] = ()
    readable: bool = True

    def place(self, path: Path, key: bool = False) -> Place:
        """Where the value (or the key) at ``path`` stands; its nearest ancestor when absent."""
        for end in range(len(path), -1, -1):
            known = (self.keys if key else self.values).get(path[:end])
            known = known or self.values.get(path[:end])
            if known is not None:
                return known
        return Place(1, 1)


class _Refused(Exception):
    """Stops the reading of a file that no person wrote."""

    def __init__(self, mark: yaml.Mark, found: str, expected: str) -> None:
        super().__init__(found)
        self.mark, self.found, self.expected = mark, found, expected


class _Composer(yaml.SafeLoader):
    """PyYAML's composer under the core schema, with a limit on depth."""

    yaml_implicit_resolvers: dict[str, Any] = {}  # noqa: RUF012 (PyYAML's own class attribute)
    depth = 0
    nodes = 0

    def compose_node(self, parent: Any, index: Any) -> Any:
        self.depth += 1
        self.nodes += 1
        if self.depth > MAX_DEPTH:
            raise _too_deep(self.get_mark())
        if self.nodes > MAX_NODES:
            raise _too_many(self.get_mark())
        node = super().compose_node(parent, index)
        self.depth -= 1
        return node


for _name, _pattern, _first in _CORE:
    _Composer.add_implicit_resolver(_TAG + _name, _WORDS[_name], _first)


def _too_deep(mark: yaml.Mark) -> _Refused:
    return _Refused(mark, f"nested more than {MAX_DEPTH} deep", "a few levels")


def _too_many(mark: yaml.Mark) -> _Refused:
    return _Refused(mark, f"more than {MAX_NODES} values", "a file written by hand")


def read_document(file: str, raw: bytes) -> Document:
    """Read one file's bytes; never raises: what is wrong is in ``faults``.

    ``readable`` is False when there is no data to go on with: not UTF-8, not YAML, empty, too large.
    """
    if len(raw) > MAX_BYTES:
        return _unreadable(file, 0, 0, f"more than {MAX_BYTES} bytes", "a file written by hand")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - raw.rfind(b"\n", 0, error.start)
        return _unreadable(file, line, column, "a byte that is not UTF-8 text", "UTF-8")
    loader: _Composer | None = None
    try:
        loader = _Composer(text)
        node = loader.get_single_node()
        if node is None:
            return _unreadable(file, 1, 1, "the file is empty", "a mapping of keys and values")
        return _Builder(file).document(node)
    except _Refused as stop:
        place = _place(stop.mark)
        return _unreadable(file, place.line, place.column, stop.found, stop.expected)
    except (yaml.YAMLError, ValueError, OverflowError) as error:
        # The scanner lets int() and chr() fail on absurd escapes and version numbers.
        reached = (loader.line + 1, loader.column + 1) if loader else (1, 1)
        fault = in_plain_words(file, text, error, reached)
        return Document(file, faults=(fault,), readable=False)


@dataclass(frozen=True)
class Span:
    """Where a value is written: from one letter of the text to another, both counted from 0.

    ``flow`` is whether it is a mapping or list in brackets.
    """

    start: int
    end: int
    flow: bool = False


def spans(raw: bytes) -> dict[Path, Span]:
    """Where every value of a sound file is written, in the text without a byte order mark.

    What an alias stands for is left out, with what is below it: its letters are another value's.
    """
    found: dict[Path, Span] = {}
    seen: set[int] = set()

    def walk(node: Any, path: Path) -> None:
        if id(node) in seen:
            return
        seen.add(id(node))
        flow = bool(getattr(node, "flow_style", False))
        found[path] = Span(node.start_mark.index, node.end_mark.index, flow)
        if isinstance(node, yaml.MappingNode):
            for key, value in node.value:
                if isinstance(key, yaml.ScalarNode):
                    walk(value, (*path, key.value))
        elif isinstance(node, yaml.SequenceNode):
            for at, each in enumerate(node.value):
                walk(each, (*path, str(at)))

    node = _Composer(raw.decode("utf-8-sig")).get_single_node()
    if node is not None:
        walk(node, ())
    return found


def _unreadable(file: str, line: int, column: int, found: str, expected: str) -> Document:
    return Document(file, faults=(Fault(file, line, column, found, expected),), readable=False)


def _place(mark: yaml.Mark) -> Place:
    return Place(mark.line + 1, mark.column + 1)


class _Builder:
    """Plain data from nodes; an alias is written out anew each time, within the limits."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.nodes = 0
        self.keys: dict[Path, Place] = {}
        self.values: dict[Path, Place] = {}
        self.broken: set[Path] = set()
        self.faults: list[Fault] = []

    def document(self, node: yaml.Node) -> Document:
        data = self.value(node, ())
        return Document(
            self.file,
            data,
            self.keys,
            self.values,
            self.broken,
            tuple(dict.fromkeys(self.faults)),
        )

    def fault(self, node: yaml.Node, found: str, expected: str) -> None:
        place = _place(node.start_mark)
        self.faults.append(Fault(self.file, place.line, place.column, found, expected))

    def value(self, node: yaml.Node, path: Path) -> Any:
        self.nodes += 1
        if self.nodes > MAX_NODES:
            raise _too_many(node.start_mark)
        if len(path) > MAX_DEPTH:
            raise _too_deep(node.start_mark)
        self.values[path] = _place(node.start_mark)
        if isinstance(node, yaml.MappingNode) and node.tag == _TAG + "map":
            return self.mapping(node, path)
        if isinstance(node, yaml.SequenceNode) and node.tag == _TAG + "seq":
            return self.sequence(node, path)
        return self.scalar(node, path)

    def mapping(self, node: Any, path: Path) -> dict[Any, Any]:
        built: dict[Any, Any] = {}
        for key_node, value_node in node.value:
            key = self.key(key_node, path)
            if key is None:
                continue
            inner = (*path, key_text(key))
            first = self.keys.get(inner)
            if first is not None:
                what = f"key {show(key)} is written twice, first on line {first.line}"
                self.fault(key_node, what, "each key once")
                continue
            self.keys[inner] = _place(key_node.start_mark)
            built[key] = self.value(value_node, inner)
        return built

    def sequence(self, node: Any, path: Path) -> list[Any]:
        return [self.value(each, (*path, str(at))) for at, each in enumerate(node.value)]

    def key(self, node: yaml.Node, path: Path) -> str | int | float | None:
        """The key, or None after noting why it can be none."""
        place = (*path, NO_KEY)
        if not isinstance(node, yaml.ScalarNode):
            self.unbuilt(node, place, "a key that is a list or a mapping", "a word or a number")
            return None
        before = len(self.faults)
        key = self.scalar(node, place)
        if len(self.faults) > before:
            return None
        if key == "<<":
            found = "a merge key '<<', which YAML 1.2 does not have"
            self.unbuilt(node, place, found, "the keys themselves")
        elif key is None or isinstance(key, bool):
            expected = "a word or a number; quotes make it a word"
            self.unbuilt(node, place, f"{show(key)} as a key", expected)
        elif isinstance(key, float) and not math.isfinite(key):
            self.unbuilt(node, place, f"{show(key)} as a key", "a word or a finite number")
        elif isinstance(key, str | int | float):
            return key
        return None

    def scalar(self, node: Any, path: Path) -> Any:
        tag = str(node.tag).removeprefix(_TAG)
        if not isinstance(node, yaml.ScalarNode) or tag not in _SCALARS:
            found = f"the tag {show(str(node.tag).replace(_TAG, '!!'))}"
            return self.unbuilt(node, path, found, "plain values without a tag")
        if tag != "str" and not _WORDS[tag].match(node.value):
            return self.unbuilt(node, path, f"{show(node.value)} is no {tag}", f"a {tag}")
        if tag == "int" and len(node.value) > MAX_DIGITS:
            return self.unbuilt(node, path, f"a number of {len(node.value)} digits", "fewer")
        control = _CONTROL.search(node.value)
        if control:
            # printed, it could steer the terminal
            found = f"the control character {show(control.group())} in a text"
            return self.unbuilt(node, path, found, "letters, digits and signs")
        try:
            return _SCALARS[tag](_paired(node.value))
        except UnicodeError:
            return self.unbuilt(node, path, "half a character in an escape", "whole characters")

    def unbuilt(self, node: yaml.Node, path: Path, found: str, expected: str) -> None:
        self.fault(node, found, expected)
        self.broken.add(path)


def key_text(key: object) -> str:
    """A key as it stands in a path: 5 and 5.0 are the same key, and so are 5 and "5"."""
    if isinstance(key, float) and key.is_integer() and abs(key) < 1e15:
        return str(int(key))
    return str(key)


def _paired(text: str) -> str:
    """The text with pairs of surrogates, JSON's way to escape rare letters, made one letter each.

    Raises ``UnicodeError`` for a half: such a text can neither be printed nor saved.
    """
    if not any("\ud800" <= letter <= "\udfff" for letter in text):
        return text
    return text.encode("utf-16-le", "surrogatepass").decode("utf-16-le")


def _integer(text: str) -> int:
    base = {"0o": 8, "0x": 16}.get(text[:2], 10)
    return int(text[2:] if base != 10 else text, base)


_SCALARS: Mapping[str, Callable[[str], Any]] = {
    "str": str,
    "null": lambda text: None,
    "bool": lambda text: text.lower() == "true",
    "int": _integer,
    # float() spells infinity and not-a-number without the leading point.
    "float": lambda text: float(re.sub(r"\.(?=[inIN])", "", text)),
}
