"""What the groups round an element of an SVG hand down to it: axes, layer, looks."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from xml.etree.ElementTree import Element

import numpy as np

from layflat.base import DrawingError, FloatArray
from layflat.pattern.drawing import Layer
from layflat.pattern.svg_path import Affine, to_affine
from layflat.pattern.svg_units import plain_length, view_box

SVG = "{http://www.w3.org/2000/svg}"
LAYERED = {"g", "a", "switch", "svg", "symbol", "use"}
"""What may be a layer by its id."""

_ALIGNED = re.compile(r"x(Min|Mid|Max)Y(Min|Mid|Max)")
_SHARE = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}


@dataclass(frozen=True, eq=False)
class Place:
    """What the groups around an element hand down to it.

    Attributes:
        to_mm: from its coordinates to the drawing's.
        layer: the layer.
        viewport: width and height that percentages are of, in user units; None if not known.
        hidden: why it is not shown, or "".
        fill, stroke: the paints that it inherits.
    """

    to_mm: Affine
    layer: str
    viewport: tuple[float, float] | None = None
    hidden: str = ""
    fill: str = "black"
    stroke: str = "none"


def tag_of(element: Element) -> str:
    """The element's name; in quotes with its namespace if it is not SVG's."""
    tag = str(element.tag)
    if tag.startswith("{") and not tag.startswith(SVG):
        return f"“{tag}”"
    return tag.removeprefix(SVG)


def style_of(element: Element) -> Mapping[str, str]:
    """The element's own properties: its attributes, and its style, which counts more."""
    found = {
        name: element.get(name, "").strip()
        for name in ("display", "visibility", "fill", "stroke", "opacity", "clip-path", "mask")
        if element.get(name)
    }
    for part in element.get("style", "").split(";"):
        name, _, value = part.partition(":")
        if value.strip():
            found[name.strip().lower()] = value.replace("!important", "").strip()
    return found


def inside(element: Element, place: Place, tag: str, where: str) -> Place:
    """The place inside an element, with its own layer, transformation and looks.

    Raises:
        DrawingError: it is moved in a way that is not read.
    """
    own = element.get("id", "")
    layer = place.layer
    if own.upper() in set(Layer) or (tag in LAYERED and own and layer not in set(Layer)):
        layer = own.upper()
    if "transform" in element.get("style", "") or element.get("transform-origin"):
        raise DrawingError(
            f"{where}: a {tag} is moved by its style; apply the transformation first."
        )
    style = style_of(element)
    place = replace(
        place,
        layer=layer,
        hidden=_hidden(style, place, tag, own),
        fill=_own(style.get("fill"), place.fill),
        stroke=_own(style.get("stroke"), place.stroke),
    )
    words = element.get("transform", "").strip()
    if not words:
        return place
    return moved(place, to_affine(words, where=f"{where}: the {tag} “{own}”"))


def _own(value: str | None, inherited: str) -> str:
    return inherited if value in (None, "", "inherit") else str(value)


def _hidden(style: Mapping[str, str], place: Place, tag: str, own: str) -> str:
    """Why an element is not shown; inside what is not displayed nothing is."""
    name = f"{tag} “{own}”" if own else tag
    if style.get("display") == "none":
        return place.hidden or f"the {name}, which is not displayed"
    visibility = style.get("visibility")
    if visibility in ("hidden", "collapse"):
        return place.hidden or f"the {name}, which is set hidden"
    if visibility == "visible" and place.hidden.endswith("set hidden"):
        return ""
    if re.fullmatch(r"0*\.?0+%?", style.get("opacity", "")):
        return place.hidden or f"the {name}, which is fully transparent"
    return place.hidden


def moved(place: Place, by: FloatArray) -> Place:
    """The place with a transformation (2, 3) of its own."""
    linear = place.to_mm[:, :2] @ by
    linear[:, 2] += place.to_mm[:, 2]
    return replace(place, to_mm=linear)


def in_frame(element: Element, place: Place, where: str, *, clone: Element | None = None) -> Place:
    """The place inside an <svg> or a <symbol>, whose view box fills a frame.

    Args:
        element: it.
        place: round it, its own transformation taken in.
        where: for messages.
        clone: the <use> that shows it, whose size goes first and which gives no x and y.

    Raises:
        DrawingError: its size is not known, or its view box has no area.
    """
    holders = [clone, element] if clone is not None else [element]
    size = [_side(holders, name, i, place) for i, name in enumerate(("width", "height"))]
    if element is not clone and clone is None:
        shift = [plain_length(element.get(name, "0")) or 0.0 for name in ("x", "y")]
        place = moved(place, np.array([[1.0, 0.0, shift[0]], [0.0, 1.0, shift[1]]]))
    box = view_box(element, where)
    if box is None:
        width, height = size
        known = width is not None and height is not None
        return replace(place, viewport=(width, height) if known else None)  # type: ignore[arg-type]
    if None in size:
        raise DrawingError(
            f"{where}: the size of a {tag_of(element)} with a view box is not known; give it a "
            "width and a height."
        )
    width, height = float(size[0] or 0.0), float(size[1] or 0.0)
    if not (width > 0 and height > 0):
        raise DrawingError(f"{where}: a {tag_of(element)} with a view box has no size.")
    scale = np.array([width / box[2], height / box[3]])
    words = element.get("preserveAspectRatio", "xMidYMid meet").split()
    shares = np.zeros(2)
    if words[:1] != ["none"]:
        scale[:] = scale.max() if "slice" in words else scale.min()
        aligned = _ALIGNED.fullmatch(words[0]) if words else None
        shares[:] = [_SHARE[aligned[1]], _SHARE[aligned[2]]] if aligned else [0.5, 0.5]
    rest = np.array([width, height]) - scale * box[2:]
    shift = shares * rest - scale * box[:2]
    by = np.array([[scale[0], 0.0, shift[0]], [0.0, scale[1], shift[1]]])
    return replace(moved(place, by), viewport=(box[2], box[3]))


def _side(holders: list[Element], name: str, side: int, place: Place) -> float | None:
    """A width or height: of the clone if it gives one, else the element's own, else the whole."""
    for holder in holders:
        words = holder.get(name, "").strip()
        if not words or words == "auto":
            continue
        if words.endswith("%") and place.viewport is not None:
            share = plain_length(words[:-1])
            return None if share is None else 0.01 * share * place.viewport[side]
        return plain_length(words)
    return place.viewport[side] if place.viewport is not None else None
