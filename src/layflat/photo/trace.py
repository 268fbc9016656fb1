"""The line of a template, from a picture of the plane to smooth curves with their doubt."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree
from shapely import LinearRing, Polygon

from layflat.base import InputError, Progress, silent
from layflat.pattern import fit_curve, sample
from layflat.photo.bridge import MOST_GAP_MM
from layflat.photo.candidates import Candidate, edge_chains, joined, line_chains
from layflat.photo.choose import Follow, choose
from layflat.photo.corner import with_corners
from layflat.photo.correct import (
    Correction,
    Through,
    accepted,
    outline_said,
    put_through,
    spot_said,
    without_denied,
)
from layflat.photo.doubt import intervals_mm, reasons, traced_curve
from layflat.photo.follow import Line
from layflat.photo.follow import follow as follow_chain
from layflat.photo.heights import Heights, heights
from layflat.photo.holes import asked, asked_note, hole_at, is_hollow
from layflat.photo.landmarks import find_landmarks, landmark_at
from layflat.photo.lifted import (
    compared_note,
    doubted,
    lifted_reasons,
    require_flat,
    stretches,
    widened,
)
from layflat.photo.link import Chain
from layflat.photo.profile import Model
from layflat.photo.records import (
    CurveKind,
    Landmark,
    Mask,
    PhotoError,
    Plane,
    Traced,
    TracedCurve,
)
from layflat.photo.smooth import smoothed
from layflat.photo.sound import require_one_pen, require_sound_line, require_sound_plane
from layflat.photo.view import View
from layflat.photo.working import Working, working

DEVIATION_MM = 0.05
"""How far the smooth curve may lie from the measured places."""
_LONG_MM = 40.0
_MARK_MM = 9.0
_USUAL_CONTRAST = 0.7


def trace(
    plane: Plane,
    *,
    views: Sequence[View] = (),
    follow: Follow = "auto",
    light_ink: bool = False,
    corrections: Sequence[Correction] = (),
    most_gap_mm: float = MOST_GAP_MM,
    progress: Progress = silent,
) -> Traced:
    """The outline, the cut-outs and the landmarks of a template.

    The same picture and corrections give the same curves. Curves are the middle of the pen's line,
    or the sheet's edge.

    Args:
        plane: the true-to-scale picture.
        views: the photographs that it was joined from, each by itself: two or more from different
            sides tell where the sheet stands up from the table.
        follow: whether the pen line or the sheet's own edge is the outline; "auto" judges and
            says which in the notes.
        light_ink: whether the pen is lighter than the sheet, as on dark film.
        corrections: what a person put right, in the order in which they did.
        most_gap_mm: the widest gap in a line that is bridged, and said.
        progress: told how far the work is.

    Raises:
        PhotoError: no sound outline can be told; the message says why and what to do.
    """
    require_sound_plane(plane)
    progress("search for lines", 0.0)
    picture = working(plane, light_ink=light_ink)
    lines, edges = line_chains(picture), edge_chains(picture) if follow != "line" else []
    model = _hand_model(lines, edges, corrections, follow)
    if model == "line":
        lines = put_through(lines, corrections, picture, "line")
    else:
        edges = put_through(edges, corrections, picture, "edge")
    found = [
        *joined(lines, "line", most_gap_mm=most_gap_mm),
        *joined(edges, "edge", most_gap_mm=most_gap_mm),
    ]
    found = without_denied(found, corrections)
    progress("find landmarks", 0.3)
    landmarks, notes = find_landmarks(
        plane, picture, [c.chain.at_mm for c in found if _long(c)], contrast=_pen_contrast(found)
    )
    everything = found
    found = [c for c in found if not _is_mark(c, landmarks)]
    landmarks += _light_spots(plane, found)
    found = [c for c in found if not _is_mark(c, landmarks)]
    landmarks, holes = _holes_said(landmarks, corrections, everything, plane, picture)
    chosen = choose(
        [c for c in found if c.model == "line"],
        [c for c in found if c.model == "edge"],
        picture,
        follow=follow,
        said=outline_said(corrections),
    )
    others = [c for c in chosen.rest if c.model == "line"]
    curves = []
    told: list[Mask] = []
    wanted: list[tuple[CurveKind, Candidate]] = [("outline", chosen.outline)]
    wanted += [("cut-out", candidate) for candidate in (*chosen.cut_outs, *holes)]
    for number, (kind, candidate) in enumerate(wanted):
        progress(f"measure the {kind}", 0.5 + 0.5 * number / len(wanted))
        line = _measured(kind, candidate, plane, picture)
        if kind == "outline":
            landmarks = asked(landmarks, plane, line, candidate.model, corrections)
        lifts = heights(plane, line, views, candidate.model)
        told += [lifts.told] if lifts else []
        why = reasons(plane, line, picture, others)
        curves.append(_curve(kind, line, plane, why, lifts))
    _require_inside(curves)
    curves = accepted(curves, corrections)
    return Traced(
        curves=tuple(curves),
        landmarks=tuple(landmarks),
        notes=(
            *chosen.notes,
            *notes,
            *asked_note(landmarks),
            *(compared_note(told) if told else ()),
            *_said(curves),
        ),
    )


def _hand_model(
    lines: list[Chain], edges: list[Chain], corrections: Sequence[Correction], follow: Follow
) -> Model:
    """Whether a stretch that a person put is one of a pen line or of the sheet's edge."""
    if follow != "auto":
        return follow
    points = [c.points_mm for c in corrections if isinstance(c, Through)]
    if not points:
        return "line"
    at = np.vstack(points)

    def away(chains: list[Chain]) -> float:
        long = [chain.at_mm for chain in chains if chain.length_mm > _LONG_MM]
        return float(np.min(KDTree(np.vstack(long)).query(at)[0])) if long else np.inf

    return "line" if away(lines) <= away(edges) else "edge"


def _pen_contrast(found: list[Candidate]) -> float:
    """The share of light that the pen takes away, from the long lines, or else from the others."""
    lines = [c.chain for c in found if c.model == "line"]
    some = [chain.strength for chain in lines if chain.length_mm > _LONG_MM] or [
        chain.strength for chain in lines
    ]
    return float(np.median(np.concatenate(some))) if some else _USUAL_CONTRAST


def _holes_said(
    landmarks: list[Landmark],
    corrections: Sequence[Correction],
    found: list[Candidate],
    plane: Plane,
    picture: Working,
) -> tuple[list[Landmark], list[Candidate]]:
    """The landmarks but for those of which a person said that they are holes, and those."""
    said = [spot_said(mark.at_mm, corrections) for mark in landmarks]
    holes = [mark for mark, spot in zip(landmarks, said, strict=True) if spot and spot.hole]
    if not holes:
        return landmarks, []
    # Of a hole through the sheet the edge is cut, of one that was drawn the pen's line.
    edges = [*joined(edge_chains(picture), "edge", most_gap_mm=0.0), *found]
    lines = [c for c in found if c.model == "line"]
    kept = [mark for mark in landmarks if mark not in holes]
    return kept, [hole_at(mark, lines if is_hollow(plane, mark) else edges) for mark in holes]


def _long(candidate: Candidate) -> bool:
    return candidate.chain.length_mm > _LONG_MM


def _is_mark(candidate: Candidate, landmarks: list[Landmark]) -> bool:
    """Whether a short line is a part of a landmark."""
    if _long(candidate):
        return False
    middle = candidate.chain.at_mm.mean(axis=0)
    return any(float(np.hypot(*(mark.at_mm - middle))) < _MARK_MM for mark in landmarks)


def _light_spots(plane: Plane, found: list[Candidate]) -> list[Landmark]:
    """Dots and squares among small closed edges: light ones on a dark sheet are no dark ink."""
    spots: list[Landmark] = []
    for candidate in found:
        if candidate.model == "edge" and candidate.chain.closed and not _long(candidate):
            at = candidate.chain.at_mm
            spot = landmark_at(plane, at.mean(axis=0), float(np.ptp(at, axis=0).max()))
            spots += [spot] if spot is not None else []
    return spots


def _measured(kind: CurveKind, candidate: Candidate, plane: Plane, picture: Working) -> Line:
    """One closed line measured, the outline counter-clockwise."""
    line = follow_chain(plane, candidate.chain, candidate.model, light_ink=picture.light_ink)
    line = smoothed(with_corners(plane, line, candidate.model))
    require_sound_line(line, kind)
    if candidate.model == "line":
        require_one_pen(line, kind)
    return _running(line, counter_clockwise=kind == "outline")


def _curve(
    kind: CurveKind,
    line: Line,
    plane: Plane,
    why: list[tuple[Mask, str]],
    lifts: Heights | None,
) -> TracedCurve:
    """One measured line fitted and judged."""
    interval = intervals_mm(plane, line, deviation_mm=DEVIATION_MM)
    if lifts is not None:
        parts = stretches(doubted(lifts, interval))
        require_flat(line, lifts, parts, kind)
        interval = widened(interval, lifts, parts)
        why = why + lifted_reasons(lifts, parts)
    try:
        curve = fit_curve(line.at_mm, corners=line.corners, deviation_mm=DEVIATION_MM)
    except InputError as error:
        raise PhotoError(
            f"No smooth curve could be drawn along the {kind}; put points along it where it is "
            "unclear, or draw it anew."
        ) from error
    return traced_curve(kind, curve, line, interval, why)


def _running(line: Line, *, counter_clockwise: bool) -> Line:
    """The line run through counter-clockwise, or clockwise."""
    if LinearRing(line.at_mm).is_ccw == counter_clockwise:
        return line
    order = np.arange(len(line.at_mm))[::-1]
    corners = np.sort(len(order) - 1 - line.corners)
    return replace(line.picked(order), corners=corners)


def _require_inside(curves: list[TracedCurve]) -> None:
    """Refuse cut-outs that leave the outline or meet each other."""
    shapes = [Polygon(sample(curve.curve, deviation_mm=0.05)) for curve in curves]
    for number, hole in enumerate(shapes[1:], start=1):
        alone = not any(hole.intersects(other) for other in shapes[number + 1 :])
        if not (shapes[0].contains(hole) and alone):
            x, y = hole.representative_point().coords[0]
            raise PhotoError(
                f"A cut-out about ({x:.0f}, {y:.0f}) mm meets the outline or another cut-out; say "
                "that one of them is no line, or draw it anew."
            ).about((x, y))


def _said(curves: list[TracedCurve]) -> list[str]:
    """Notes on what a person should look at."""
    count = sum(len(curve.unsure) for curve in curves)
    if not count:
        return []
    what = "1 stretch is" if count == 1 else f"{count} stretches are"
    return [f"{what} unsure; look at each, and accept or correct it."]
