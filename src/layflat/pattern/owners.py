"""Whose are the marks and words of a drawing: pieces get their names and their marks."""

from scipy.spatial import KDTree
from shapely import Point, STRtree

from layflat.base import counted
from layflat.pattern.curve import corners, reverse
from layflat.pattern.drawing import Layer, Text
from layflat.pattern.piece import Mark, MarkKind, Pattern
from layflat.pattern.sketch import Part, Sketch

_MARK_DEVIATION_MM = 0.05
_NAME_LETTERS = 80
_NEAR_MM = 25.0
_SAME_PLACE_MM = 1e-6


def marks_of(sketch: Sketch) -> tuple[list[Mark], list[Text]]:
    """The marks with their words, and the texts that stand at no mark."""
    marks = [
        Mark(stroke.kind, stroke.sampled(deviation_mm=_MARK_DEVIATION_MM), stroke.label)
        for stroke in sketch.strokes.get(Layer.MARK, [])
    ]
    marks += [Mark(MarkKind.NUMBER, point) for point in sketch.points]
    texts = list(sketch.texts)
    if not marks or not texts:
        return marks, texts
    places = KDTree([text.point_mm for text in texts])
    taken: set[int] = set()
    for i, mark in enumerate(marks):
        if mark.text:
            continue
        here = places.query_ball_point(mark.points_mm[0], _SAME_PLACE_MM, return_sorted=True)
        free = [which for which in here if which not in taken]
        if free:
            taken.add(free[0])
            marks[i] = Mark(mark.kind, mark.points_mm, texts[free[0]].text)
    return marks, [text for i, text in enumerate(texts) if i not in taken]


def patterns_of(
    parts: list[Part], marks: list[Mark], texts: list[Text], notes: list[str]
) -> tuple[tuple[Pattern, ...], list[Mark], list[Text]]:
    """Pieces with their names and marks; and the marks and texts that are nobody's."""
    tree = STRtree([part.polygon for part in parts])
    names, texts = _names(tree, parts, texts)
    own_marks: dict[int, list[Mark]] = {}
    loose_marks = []
    for mark in marks:
        owner = _owner(tree, parts, Point(mark.points_mm[0]))
        if owner is None:
            loose_marks.append(mark)
        else:
            own_marks.setdefault(owner, []).append(mark)
    unnamed = len(parts) - len(names)
    if unnamed:
        nameless = counted(unnamed, "piece bears no name and was", "pieces bear no name and were")
        notes.append(f"{nameless} numbered in the file's order.")
    taken: set[str] = set()
    patterns = []
    for i, part in enumerate(parts):
        outline = part.loop.curve
        patterns.append(
            Pattern(
                name=unique_name(names.get(i, f"piece {i + 1}"), taken),
                outline=outline,
                cut_outs=tuple(reverse(hole.loop.curve) for hole in part.holes),
                marks=tuple(own_marks.get(i, ())),
                outline_corners=corners(outline),
            )
        )
    return tuple(patterns), loose_marks, texts


def _names(
    tree: STRtree, parts: list[Part], texts: list[Text]
) -> tuple[dict[int, str], list[Text]]:
    """The pieces' names, by their place in *parts*, and the texts that name nobody.

    A name that the file keeps with the outline goes first; its lettering on the piece is then
    the name once more. Else a piece takes the first text in it or near it.
    """
    kept = {i: name for i, part in enumerate(parts) if (name := _name(part.loop.label))}
    names = dict(kept)
    lettered: set[int] = set()
    loose = []
    for text in texts:
        owner = _owner(tree, parts, Point(text.point_mm))
        label = _name(text.text)
        if owner is None or not label:
            loose.append(text)
        elif owner in kept and owner not in lettered and label == kept[owner]:
            lettered.add(owner)
        elif owner not in names:
            names[owner] = label
        else:
            loose.append(text)
    return names, loose


def _owner(tree: STRtree, parts: list[Part], point: Point) -> int | None:
    """The piece that a mark or a word belongs to: the least around it, else the nearest."""
    around = tree.query(point, "intersects")
    if len(around):
        return int(min(around, key=lambda i: (parts[i].polygon.area, i)))
    near = tree.query_nearest(point, max_distance=_NEAR_MM)
    return int(near.min()) if len(near) else None


def _name(text: str) -> str:
    """A text as a name: one line, no control characters, not too long."""
    words = "".join(c if c.isprintable() else " " for c in text).split()
    return " ".join(words)[:_NAME_LETTERS].rstrip()


def unique_name(name: str, taken: set[str]) -> str:
    """*name*, or with the least number behind it that nobody has.

    Args:
        name: as it is wished.
        taken: the names that there are; the new one is added.
    """
    candidate, number = name, 1
    while candidate in taken:
        number += 1
        candidate = f"{name} ({number})"
    taken.add(candidate)
    return candidate
