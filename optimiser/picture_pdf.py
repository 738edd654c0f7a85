"""A picture on a PDF page: the same shapes as on screen, with pens for black ink on white paper."""

from __future__ import annotations

from dataclasses import dataclass

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from optimiser.picture import Disc, Label, Picture, Stroke

PX = 0.75  # points in a CSS pixel


@dataclass(frozen=True)
class Pen:
    """Grey of line and fill, 0 black to 1 white, None for neither; line width in px."""

    line: float | None = 0.0
    fill: float | None = None
    width: float = 1.0
    dash: tuple[float, ...] = ()


PENS = {
    "stud": Pen(width=5.0),
    "seat": Pen(line=1.0, fill=0.45),
    "nut": Pen(line=1.0, fill=0.45),
    "joint": Pen(line=1.0, fill=0.15),
    "piece": Pen(fill=1.0, width=1.1),
}
PAPER = {"on-part"}  # texts that stand on dark


class PdfPicture(Flowable):
    """A picture set to a width in points; its words in so many points."""

    def __init__(self, picture: Picture, width: float, font: str, size: float) -> None:
        super().__init__()
        self.picture = picture
        self.font = font
        self.scale = width / picture.width
        self.size = size
        self.width = width
        self.height = picture.height * self.scale

    def wrap(self, aW: float, aH: float) -> tuple[float, float]:
        """Its size, whatever room there is."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw every shape."""
        canvas: Canvas = self.canv
        for shape in self.picture.shapes:
            canvas.saveState()
            if isinstance(shape, Label):
                self._label(canvas, shape)
            else:
                self._shape(canvas, shape)
            canvas.restoreState()

    def _at(self, x: float, y: float) -> tuple[float, float]:
        return x * self.scale, self.height - y * self.scale

    def _label(self, canvas: Canvas, label: Label) -> None:
        canvas.setFont(self.font, self.size)
        canvas.setFillGray(1.0 if label.role in PAPER else 0.0)
        x, y = self._at(*label.at)
        write = {"middle": canvas.drawCentredString, "end": canvas.drawRightString}
        write.get(label.anchor, canvas.drawString)(x, y, label.text)

    def _shape(self, canvas: Canvas, shape: Stroke | Disc) -> None:
        pen = PENS.get(shape.role, Pen())
        if pen.line is not None:
            canvas.setStrokeGray(pen.line)
        if pen.fill is not None:
            canvas.setFillGray(pen.fill)
        canvas.setLineWidth(pen.width * self.scale)
        drawn, filled = int(pen.line is not None), int(pen.fill is not None)
        if isinstance(shape, Disc):
            canvas.circle(*self._at(*shape.centre), shape.radius * self.scale, drawn, filled)
            return
        path = canvas.beginPath()
        first, *rest = shape.points
        path.moveTo(*self._at(*first))
        for point in rest:
            path.lineTo(*self._at(*point))
        if shape.closed:
            path.close()
        canvas.drawPath(path, drawn, filled)
