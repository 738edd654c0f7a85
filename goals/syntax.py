"""What PyYAML says of a broken file, in the words of someone who has never met a parser."""

from __future__ import annotations

import re
from typing import Any

import yaml

from goals.faults import Fault

# (what the scanner says, what is found, what is expected); the first that matches is used, and the
# scanner's own words are the last resort. Groups may be used in the words.
_PLAIN: tuple[tuple[str, str, str], ...] = (
    (
        r"mapping values are not allowed",
        "a ':' where no key can stand",
        "the same indent as the lines around it, or quotes around a text that contains ': '",
    ),
    (
        r"found character '\\t'",
        "a tab",
        "spaces: YAML does not indent with tabs",
    ),
    (
        r"found character '(.+)' that cannot start",
        "a text that starts with '{0}'",
        "quotes around a text that starts with this sign",
    ),
    (
        r"expected ',' or '([\]}}])'",
        "a bracket that is not closed, or a comma left out",
        "',' or '{0}'",
    ),
    (
        r"while scanning a quoted scalar.*unexpected (?:end of stream|document separator)",
        "a quote that is not closed",
        "the closing quote",
    ),
    (
        r"could not find expected ':'",
        "a line without ':'",
        "'key: value', with a space after the colon",
    ),
    (
        r"expected <block end>, but found '?(?:<block mapping start>|<block sequence start>)",
        "a line that is indented otherwise than its neighbours",
        "the same indent for the keys of one mapping",
    ),
    (
        r"expected <block end>",
        "something that does not belong here",
        "one key or one list item a line, at the indent of its neighbours",
    ),
    (
        r"found undefined alias '?(.*?)'?(?: |$)",
        "an alias '*{0}' of nothing",
        "an anchor '&{0}' above it, or quotes around a text that starts with '*'",
    ),
    (
        r"found duplicate anchor '?(.*?)'?(?:;| |$)",
        "the anchor '&{0}' for the second time",
        "each anchor once",
    ),
    (
        r"expected a single document",
        "a second document after '---'",
        "one document a file",
    ),
    (
        r"unknown escape character '(.*)'",
        "the unknown escape '\\{0}' in a text in double quotes",
        "single quotes, where '\\' is an ordinary sign",
    ),
    (
        r"sequence entries are not allowed",
        "a list item '- ' where none can stand",
        "the list on the lines below its key",
    ),
    (
        r"scanning a block scalar",
        "a sign that opens a block of text, '|' or '>', with more after it on the line",
        "the text on the lines below, or quotes around it",
    ),
    (
        r"scanning a directive",
        "a line that starts with '%'",
        "quotes around a text that starts with this sign",
    ),
    (
        r"expected the node content, but found '(.*)'",
        "'{0}' where a value belongs",
        "a value, or quotes around a text that starts with this sign",
    ),
    (
        r"expected '<document start>'",
        "something after the end of the data",
        "one mapping of keys and values",
    ),
    (
        r"special characters are not allowed",
        "a control character",
        "plain text",
    ),
)


def in_plain_words(file: str, text: str, error: Exception, reached: tuple[int, int]) -> Fault:
    """The one fault of a file that is not YAML, from whatever PyYAML raised.

    ``reached`` is the line and column that it had come to.
    """
    said = _said(error)
    line, column = _where(text, error) or reached
    for pattern, found, expected in _PLAIN:
        match = re.search(pattern, said, re.DOTALL)
        if match:
            words = [group or "" for group in match.groups()]
            return Fault(file, line, column, found.format(*words), expected.format(*words))
    return Fault(file, line, column, f"this is not YAML: {' '.join(said.split())}", "")


def _said(error: Exception) -> str:
    if isinstance(error, yaml.MarkedYAMLError):
        return " ".join(part for part in (error.context, error.problem) if part)
    if isinstance(error, yaml.reader.ReaderError):
        return str(error.reason)
    return "an escape or a number that cannot be"


def _where(text: str, error: Exception) -> tuple[int, int] | None:
    """Line and column from 1; an unclosed quote or bracket is placed where it opens."""
    if isinstance(error, yaml.reader.ReaderError):
        before = text[: error.position]
        return before.count("\n") + 1, error.position - before.rfind("\n")
    marks: list[Any] = []
    if isinstance(error, yaml.MarkedYAMLError):
        marks = [error.problem_mark, error.context_mark]
        if "quoted scalar" in (error.context or "") and "unexpected" in (error.problem or ""):
            marks.reverse()
    mark = next((each for each in marks if each is not None), None)
    return (mark.line + 1, mark.column + 1) if mark is not None else None
