"""Stand-in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from optimiser.picture import Label, Picture, stroke

PENS = """
.curve{fill:none;stroke-width:1.8;stroke:var(--ink)} .frame{fill:none;stroke:var(--quiet)} text{font:11px var(--text);fill:var(--ink)}
[data-layer="today"] .curve,[data-sample="today"] .curve{stroke:var(--quiet);stroke-dasharray:5 3}
[data-layer="c1"] .curve,[data-sample="c1"] .curve{stroke:var(--accent)}
"""


@dataclass(frozen=True)
class Figure:
    key: str
    duty: str | None
    kind: str
    layer: str | None
    title: str
    caption: str
    picture: Picture


def figures(problem: Any, rows: Any, every: Any, bands: bool = True) -> list[Figure]:
    out = []
    for d, duty in enumerate([*problem.duties, None]):
        for kind in ("toe", "steer", "toe_out"):
            shapes = [
                stroke([(40, 10), (370, 10), (370, 230), (40, 230)], "frame", closed=True),
                Label((200, 250), "travel, mm", "axis-text"),
            ]
            for i, layer in enumerate(["today", *(f"c{n}" for n in range(1, len(rows) + 1))]):
                shapes.append(
                    stroke(
                        [(40, 200), (200, 100 + 9 * i), (370, 20 + 20 * i)], "curve", layer=layer
                    )
                )
            out.append(
                Figure(
                    f"d{d}-{kind}",
                    duty,
                    kind,
                    None,
                    f"Toe {kind}",
                    "How it reads.",
                    Picture(380, 260, "Title", "Words -3 mm.", tuple(shapes)),
                )
            )
        for n in range(1, len(rows) + 1):
            shapes = [
                stroke([(40, 10), (370, 10), (370, 230), (40, 230)], "frame", closed=True),
                Label((200, 100), f"alone {n}", "axis-text", layer=f"c{n}"),
            ]
            out.append(
                Figure(
                    f"d{d}-map-c{n}",
                    duty,
                    "clearance",
                    f"c{n}",
                    f"Clearance {n}",
                    "How it reads.",
                    Picture(380, 260, "Title", "Words -3 mm.", tuple(shapes)),
                )
            )
    return out
