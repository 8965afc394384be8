"""The pack as one HTML page: no script, no request, every text escaped by the template engine."""

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from planning_kit.inputs.shown_text import one_line, visible
from planning_kit.show.pack import content


def html_page(pack: content.Pack) -> str:
    """The page as text, the pocket sheets at its end.

    The browser is told to run nothing and to load nothing, whatever the texts say.
    """
    made = Environment(loader=PackageLoader("planning_kit.show", "pack"), autoescape=True,
                       undefined=StrictUndefined, finalize=_visible)
    made.filters |= {"shown": content.shown, "clean": one_line, "row_class": _row_class}
    made.tests |= {"a": lambda each, kind: type(each).__name__ == kind}
    page = made.get_template("pack.html.j2")
    return page.render(pack=pack, sections=(*pack.sections, *pack.pockets), caution=content.CAUTION,
                       caution_css=_css(content.CAUTION), stamp_css=_css(pack.stamp)) + "\n"


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
