"""A signature as it was drawn on the screen: strokes in, a small picture out."""

import hashlib
import io
import itertools
import json
from typing import Final

from PIL import Image, ImageDraw

from layflat.base import InputError

WIDTH: Final = 1000
HEIGHT: Final = 360
"""Of the field that is signed in, in its own units."""
MOST_LETTERS: Final = 200_000
_MOST_STROKES: Final = 200
_MOST_POINTS: Final = 20_000
_LEAST_WAY: Final = 60
"""Less of a line than this is a slip of the hand and no signature: our own choice, no source."""
_PEN: Final = 5
Stroke = list[tuple[int, int]]


def read_strokes(text: str) -> list[Stroke]:
    """The strokes that a page sent: JSON, a list of lists of points [x, y] in whole units.

    Returns:
        The strokes; [] for "".

    Raises:
        InputError: it is nothing of the kind, or more than anybody draws.
    """
    if not text.strip():
        return []
    if len(text) > MOST_LETTERS:
        raise InputError("The signature is longer than anybody's; clear it and sign again.")
    try:
        found = json.loads(text)
        strokes = [[_point(point) for point in stroke] for stroke in found]
    except (ValueError, TypeError, RecursionError) as error:
        raise InputError("The signature did not come through; sign again.") from error
    if len(strokes) > _MOST_STROKES or sum(map(len, strokes)) > _MOST_POINTS:
        raise InputError("The signature is longer than anybody's; clear it and sign again.")
    return [stroke for stroke in strokes if stroke]


def _point(found: object) -> tuple[int, int]:
    if not isinstance(found, list) or len(found) != 2:
        raise TypeError(found)
    x, y = found
    if type(x) is not int or type(y) is not int or not (0 <= x <= WIDTH and 0 <= y <= HEIGHT):
        raise ValueError(found)
    return x, y


def signature_png(strokes: list[Stroke]) -> bytes:
    """The signature as a picture: black on white; the same strokes give the same bytes.

    Raises:
        InputError: there is hardly a line in it.
    """
    way = sum(
        abs(x - before_x) + abs(y - before_y)
        for stroke in strokes
        for (before_x, before_y), (x, y) in itertools.pairwise(stroke)
    )
    if way < _LEAST_WAY:
        raise InputError("There is no signature yet; sign in the field, or say why it is on paper.")
    image = Image.new("L", (WIDTH, HEIGHT), 255)
    draw = ImageDraw.Draw(image)
    for stroke in strokes:
        if len(stroke) > 1:
            draw.line(stroke, fill=0, width=_PEN, joint="curve")
        for x, y in (stroke[0], stroke[-1]):
            half = _PEN / 2
            draw.ellipse((x - half, y - half, x + half, y + half), fill=0)
    out = io.BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()


def sha256_of(png: bytes) -> str:
    """The hash under which a signature is kept."""
    return hashlib.sha256(png).hexdigest()
