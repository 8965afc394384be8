"""The pack as one HTML page: no script, no request, every text escaped by the template engine."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from planning_kit.inputs.shown_text import one_line, visible
from planning_kit.show.pack import content


def html_page(pack: content.Pack) -> str:
    """The page as text, the pocket sheets at its end.

    The browser is told to run nothing and to load nothing, whatever the texts say.
    """
    page = _environment().get_template("pack.html.j2")
    return page.render(pack=pack, sections=(*pack.sections, *pack.pockets), caution=content.CAUTION,
                       caution_css=_css(content.CAUTION), stamp_css=_css(pack.stamp)) + "\n"


def _environment() -> Environment:
    made = Environment(loader=PackageLoader("planning_kit.show", "pack"), autoescape=True,
                       undefined=StrictUndefined, finalize=_visible)
    made.filters |= {"shown": content.shown, "clean": one_line, "drawn": _drawn, "row_class": _row_class}
    made.tests |= {"picture": lambda block: isinstance(block, content.Picture),
                   "rich": lambda cell: isinstance(cell, content.Rich)}
    return made


def _visible(value: object) -> object:
    """What the template puts in, whatever it forgot to clean; our own markup stays."""
    return visible(value) if isinstance(value, str) and not isinstance(value, Markup) else value


def _css(text: str) -> Markup:
    """A text inside quotes of a style sheet: everything but letters, digits and spaces as its code.

    A space ends each code (CSS Syntax Module Level 3, 4.3.7); it is not part of the text.
    """
    coded = (c if c.isascii() and (c.isalnum() or c == " ") else f"\\{ord(c):06x} " for c in text)
    return Markup("".join(coded))


def _row_class(row: tuple[content.Cell, ...]) -> Markup:
    """A mark at the left of a row that begins with a severity or class; the word itself stands there too."""
    classes = {"stop": "stop", "concern": "concern-row", "WARNING": "stop", "CAUTION": "concern-row"}
    name = classes.get(row[0] if isinstance(row[0], str) else "", "")
    return Markup(f' class="{name}"') if name else Markup("")


def _drawn(picture: content.Picture) -> Markup:
    """A picture as SVG with its words as alternative text."""
    drawing: Mapping[type, Callable[[Any], Markup]] = {
        content.Box: _box, content.Label: _label, content.Line: _line, content.Mark: _mark}
    shapes = Markup("").join(drawing[type(each)](each) for each in picture.shapes)
    return Markup('<figure><svg role="img" aria-label="{}" viewBox="0 0 {:g} {:g}" '
                  'font-family="system-ui, Liberation Sans, Arial, sans-serif">{}</svg></figure>').format(
        picture.alt, picture.width, picture.height, shapes)


def _line(line: content.Line) -> Markup:
    dash = Markup(' stroke-dasharray="{:g}"').format(line.dash) if line.dash else Markup("")
    return Markup('<polyline points="{}" fill="none" stroke="{}" stroke-width="{:g}"{}/>').format(
        _points(line.points), line.colour, line.width, dash)


def _mark(mark: content.Mark) -> Markup:
    look = Markup('fill="{}" stroke="{}"').format(mark.fill or "none", mark.stroke)
    if mark.corners:
        return Markup('<polygon points="{}" {}/>').format(_points(mark.corners), look)
    return Markup('<circle cx="{:.2f}" cy="{:.2f}" r="{:g}" {}/>').format(mark.x, mark.y, mark.size, look)


def _points(points: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in points)


def _box(box: content.Box) -> Markup:
    stroke = Markup(' stroke="{}" stroke-width="0.5"').format(box.stroke) if box.stroke else Markup("")
    return Markup('<rect x="{:.2f}" y="{:.2f}" width="{:.2f}" height="{:.2f}" fill="{}"{}/>').format(
        box.x, box.y, max(box.width, 0.3), box.height, box.fill, stroke)


def _label(label: content.Label) -> Markup:
    weight = Markup(' font-weight="600"') if label.is_bold else Markup("")
    text = Markup('<text x="{:.2f}" y="{:.2f}" font-size="{:g}" fill="{}" text-anchor="{}"{}>{}</text>')
    return text.format(
        label.x, label.y, label.size, label.colour, label.anchor, weight, escape(one_line(label.text)))
