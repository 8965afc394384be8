"""The shapes of a picture on a page of the PDF; a page counts upward from its foot, a picture downward."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from planning_kit.show.pack.content import Box, Label, Line, Mark, Picture
from planning_kit.show.pack.pdf_page import BOLD, FONT, Printable

Rise = Callable[[float], float]


def draw_shapes(canvas: Any, picture: Picture, printable: Printable) -> None:
    """Draw ``picture`` with its lower left corner at the canvas' origin."""
    def up(y: float) -> float:
        return picture.height - y

    for shape in picture.shapes:
        if isinstance(shape, Box):
            _box(canvas, shape, up)
        elif isinstance(shape, Line):
            _line(canvas, shape, up)
        elif isinstance(shape, Mark):
            _mark(canvas, shape, up)
        else:
            _label(canvas, shape, up, printable)


def _box(canvas: Any, box: Box, up: Rise) -> None:
    canvas.setFillColor(box.fill)
    canvas.setStrokeColor(box.stroke or box.fill)
    canvas.setLineWidth(0.5)
    canvas.rect(box.x, up(box.y) - box.height, max(box.width, 0.3), box.height,
                stroke=1 if box.stroke else 0, fill=1)


def _line(canvas: Any, line: Line, up: Rise) -> None:
    canvas.setStrokeColor(line.colour)
    canvas.setLineWidth(line.width)
    canvas.setDash(*([line.dash, line.dash] if line.dash else []))
    canvas.drawPath(_path(canvas, line.points, up), stroke=1, fill=0)
    canvas.setDash()


def _mark(canvas: Any, mark: Mark, up: Rise) -> None:
    canvas.setFillColor(mark.fill or "#FFFFFF")
    canvas.setStrokeColor(mark.stroke)
    canvas.setLineWidth(1)
    fill = 1 if mark.fill else 0
    if mark.corners:
        path = _path(canvas, mark.corners, up)
        path.close()
        canvas.drawPath(path, stroke=1, fill=fill)
    else:
        canvas.circle(mark.x, up(mark.y), mark.size, stroke=1, fill=fill)


def _path(canvas: Any, points: Iterable[tuple[float, float]], up: Rise) -> Any:
    path = canvas.beginPath()
    for number, (x, y) in enumerate(points):
        (path.lineTo if number else path.moveTo)(x, up(y))
    return path


def _label(canvas: Any, label: Label, up: Rise, printable: Printable) -> None:
    canvas.setFillColor(label.colour)
    canvas.setFont(BOLD if label.is_bold else FONT, label.size)
    draw = {"middle": canvas.drawCentredString, "end": canvas.drawRightString}
    draw.get(label.anchor, canvas.drawString)(label.x, up(label.y), printable.plain(label.text))
