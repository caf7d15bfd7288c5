"""Figures as parts of a page: SVG without what a page does not need."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from xml.etree import ElementTree

from matplotlib import style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tapfall.model import Reading, Recording
from tapfall.show import look
from tapfall.show.figure import FORMATS, figure_bytes

#: Parts of a drawing that are a picture, not lines, have so many dots (our choice).
DOTS_PER_INCH = 150

#: What stands in for the figure's own font, of the same width, where a reader lacks it.
_FONTS = "'DejaVu Sans', Verdana, sans-serif"
_LEFT_OUT = {"metadata", "style"}


def inline_figure(recording: Recording, reading: Reading, prefix: str, label: str) -> str:
    """Draw a reading as an SVG element that can stand in a page, also several in one.

    No text from outside gets into the figure: it carries no title.

    Parameters
    ----------
    recording, reading
        What is drawn.
    prefix
        Put before each id, so that the figures of one page stay apart.
    label
        What the figure shows, for those who do not see it.

    Returns
    -------
    str
        One ``svg`` element with the role of an image; nothing in it is loaded
        from elsewhere.
    """
    svg = figure_bytes(recording, reading, ".svg", title="")
    return element(svg.decode("utf-8"), prefix, label)


def drawn(
    draw: Callable[[Figure], None], size_in: tuple[float, float], prefix: str, label: str
) -> str:
    """Draw a figure in the project's look, as an SVG element that can stand in a page.

    Parameters
    ----------
    draw
        Puts all there is to see into an empty figure.
    size_in
        Width and height, inches.
    prefix, label
        As for :func:`inline_figure`.

    Examples
    --------
    >>> svg = drawn(lambda figure: None, (1.0, 1.0), "one-", "an empty square")
    >>> svg[:23], 'aria-label="an empty square"' in svg
    ('<svg viewBox="0 0 72 72', True)
    """
    page = io.BytesIO()
    with style.context(["default", look.STYLE]):
        figure = Figure(figsize=size_in, facecolor=look.PAPER)
        FigureCanvasAgg(figure)
        draw(figure)
        figure.savefig(page, format="svg", dpi=DOTS_PER_INCH, metadata=FORMATS[".svg"])
    return element(page.getvalue().decode("utf-8"), prefix, label)


def element(svg: str, prefix: str, label: str) -> str:
    """Turn a whole SVG file of ours into an element of a page.

    Examples
    --------
    >>> element('<svg xmlns="http://www.w3.org/2000/svg" width="9pt" viewBox="0 0 9 9">'
    ...         '<metadata/><g id="a" clip-path="url(#b)"/></svg>', "one-", "nothing < all")
    '<svg viewBox="0 0 9 9" preserveAspectRatio="xMidYMin meet" role="img" aria-label="nothing &lt; all"><g id="one-a" clip-path="url(#one-b)" /></svg>'
    """  # noqa: E501 - one element is one line
    root = ElementTree.fromstring(svg)
    for item in root.iter():
        for child in [child for child in item if _local(child.tag) in _LEFT_OUT]:
            item.remove(child)
        item.tag = _local(item.tag)
        attributes = {_local(name): value for name, value in item.attrib.items()}
        item.attrib.clear()
        for name, value in attributes.items():
            item.set(name, _own(name, value, prefix))
    for name in ("width", "height", "version"):
        root.attrib.pop(name, None)
    root.set("preserveAspectRatio", "xMidYMin meet")
    root.set("role", "img")
    root.set("aria-label", label)
    return ElementTree.tostring(root, encoding="unicode")


def _local(name: str) -> str:
    """A name without its namespace: a page knows those of SVG by themselves."""
    return name.rpartition("}")[2]


def _own(name: str, value: str, prefix: str) -> str:
    if name == "id":
        return prefix + value
    if name == "href":
        return f"#{prefix}{value[1:]}" if value.startswith("#") else "".join(value.split())
    if name == "style":
        value = value.replace("'DejaVu Sans'", _FONTS)
    return re.sub(r"url\(#", f"url(#{prefix}", value)
