"""Whole loops that are doubled, dust, or too small to be a piece of film."""

from collections.abc import Iterator

import numpy as np
from scipy.spatial import KDTree

from layflat.base import DrawingError, counted
from layflat.pattern.curve import bounds
from layflat.pattern.loops import ClosedLoop, place_of
from layflat.pattern.mend_doubles import SAME_LINE_MM
from layflat.pattern.mend_loops import DUST_MM
from layflat.pattern.mend_record import REFUSE, Findings, were
from layflat.pattern.sketch import Part

SMALL_MM = 5.0
"""Pieces smaller than this in length and height are asked about."""

_MOST_ALIKE = 8
_MOST_LOOPS_ALIKE = 20_000
_BESIDE_MM = 1.0
"""Loops that run so close to each other all round may be one, drawn twice by hand."""

_REFUSE = "The drawing is not read, and mended where it was drawn."


def without_dust(loops: list[ClosedLoop], layer: str, findings: Findings) -> list[ClosedLoop]:
    """The loops that are no dust."""
    kept: list[ClosedLoop] = []
    dust: list[ClosedLoop] = []
    for loop in loops:
        (dust if len(loop.curve.points_mm) < 2 or _extent(loop) <= DUST_MM else kept).append(loop)
    if dust:
        sized = [loop for loop in dust if len(loop.curve.points_mm) >= 2]
        at = sized[0].curve.points_mm[0] if sized else None
        said = were(
            len(dust),
            "closed line",
            but=f"of at most {DUST_MM:g} mm",
            at="" if at is None else place_of(at),
        )
        findings.mend(
            "dust",
            f"Layer {layer}: {said}.",
            at=at,
            measure_mm=max((_extent(loop) for loop in sized), default=0.0),
        )
    return kept


def _extent(loop: ClosedLoop) -> float:
    x0, y0, x1, y1 = bounds(loop.curve)
    return max(x1 - x0, y1 - y0)


def apart_mm(one: Part, two: Part) -> float:
    """How far two loops lie apart at most, all round, mm."""
    boxes = np.abs(np.subtract(one.polygon.bounds, two.polygon.bounds)).max()
    if boxes > _BESIDE_MM:
        return float(boxes)
    return float(one.polygon.exterior.hausdorff_distance(two.polygon.exterior))


def _alike(parts: list[Part], layer: str) -> Iterator[tuple[int, int]]:
    """Pairs of loops that reach equally far all round, the earlier first."""
    if not parts:
        return
    boxes = np.array([part.polygon.bounds for part in parts])
    tree = KDTree(boxes)
    seen = 0
    for one, box in enumerate(boxes):
        found = tree.query_ball_point(box, _BESIDE_MM, p=np.inf, return_sorted=True)
        seen += len(found)
        if seen > _MOST_ALIKE * len(parts) + _MOST_LOOPS_ALIKE:
            raise DrawingError(
                f"Layer {layer}: too many closed lines lie upon each other, at "
                f"{place_of(box[:2])}; remove those drawn twice."
            )
        yield from ((one, two) for two in found if two > one)


def without_doubled_loops(parts: list[Part], layer: str, findings: Findings) -> list[Part]:
    """The loops without those that are drawn a second time; near doubles are asked about."""
    gone: set[int] = set()
    for one, two in _alike(parts, layer):
        if one in gone or two in gone:
            continue
        away = apart_mm(parts[one], parts[two])
        if away > _BESIDE_MM:
            continue
        # The loop that bears a name stays.
        stays, goes = (
            (two, one) if parts[two].loop.label and not parts[one].loop.label else (one, two)
        )
        at = parts[goes].loop.curve.points_mm[0]
        names = f"{parts[stays].loop.source} and {parts[goes].loop.source}"
        if away > SAME_LINE_MM:
            answer = findings.ask(
                "double",
                f"Layer {layer}: two closed lines run within {away:.2g} mm of each other all round "
                f"at {place_of(at)} ({names}).",
                {
                    "one": f"It is one line drawn twice; {parts[goes].loop.source} is left out.",
                    "both": "Both are meant.",
                    REFUSE: _REFUSE,
                },
                default="one",
                at=at,
            )
            if answer == "both":
                continue
        gone.add(goes)
        findings.mend(
            "doubled",
            f"Layer {layer}: a loop is drawn twice at {place_of(at)} ({names}, at most "
            f"{away:.2g} mm apart); it was taken once.",
            at=at,
            measure_mm=away,
        )
    return [part for i, part in enumerate(parts) if i not in gone]


def without_small(outlines: list[Part], findings: Findings) -> list[Part]:
    """The pieces without those too small to be film, if a person says so."""
    small = [part for part in outlines if _extent(part.loop) < SMALL_MM]
    if not small or len(small) == len(outlines):
        return outlines
    at = small[0].loop.curve.points_mm[0]
    would_be = counted(
        len(small),
        "closed line would be a piece of film",
        "closed lines would be pieces of film",
    )
    first = "," if len(small) == 1 else ", the first"
    answer = findings.ask(
        "small",
        f"{would_be} of less than {SMALL_MM:g} mm{first} at {place_of(at)}, "
        f"{_extent(small[0].loop):.2g} mm across.",
        {"leave-out": "They are left out.", "keep": "They are pieces."},
        default="leave-out",
        at=at,
    )
    if answer == "keep":
        return outlines
    findings.mend(
        "small",
        f"{were(len(small), 'closed line', but=f'of less than {SMALL_MM:g} mm', at=place_of(at))}.",
        at=at,
        measure_mm=_extent(small[0].loop),
    )
    return [part for part in outlines if _extent(part.loop) >= SMALL_MM]
