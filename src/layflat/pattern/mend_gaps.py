"""Gaps between the ends of lines: closed where no third end is near, asked about otherwise."""

from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from layflat.base import FloatArray
from layflat.pattern.loops import Stroke, knots_of, place_of
from layflat.pattern.mend_record import Findings

MOST_GAP_MM = 10.0
"""Ends farther apart are not asked about as a gap; the contour is open."""

_COMPETES = 2.0
"""Another end within so many times the gap competes for it."""

_MOST_OFFERED = 3
_LONG_ENOUGH = 8.0
"""A stroke closes upon itself only if it is so many times as long as its gap."""


def close_gaps(
    strokes: list[Stroke], *, layer: str, join_mm: float, close_mm: float, findings: Findings
) -> list[Stroke]:
    """Open strokes with ends brought together; see `layflat.pattern.mend_loops.close_loops`."""
    knots = knots_of(strokes, join_mm=join_mm)
    lone = np.array(knots.lone, dtype=np.int64)
    if len(lone) < 2:
        return strokes
    places = knots.ends[lone]
    near = _neighbours(places, lone, strokes, max(MOST_GAP_MM, close_mm))
    partner = _clear_pairs(near, close_mm)
    asked = _asked_pairs(near, partner, places, layer, findings)
    moved = list(strokes)
    bridges: list[Stroke] = []
    for one, two, clear in [
        *((*pair, True) for pair in partner),
        *((*pair, False) for pair in asked),
    ]:
        gap = float(np.linalg.norm(places[one] - places[two]))
        how = _meet(moved, bridges, int(lone[one]), int(lone[two]), gap, close_mm)
        tolerance = f"; gaps up to {close_mm:g} mm are closed" if clear else ""
        findings.mend(
            "gap",
            f"Layer {layer}: a gap of {gap:.3g} mm at {place_of(places[one])} was closed "
            f"{how}{tolerance}.",
            at=places[one],
            measure_mm=gap,
        )
    return moved + bridges


def _neighbours(
    places: FloatArray, lone: np.ndarray, strokes: list[Stroke], reach_mm: float
) -> list[list[tuple[float, int]]]:
    """For every lone end, the others within reach: distance and number, the nearest first."""
    near: list[list[tuple[float, int]]] = [[] for _ in places]
    tree = KDTree(places)
    some = min(len(places), 2 * _MOST_OFFERED + 2)
    distances, found = (np.asarray(part) for part in tree.query(places, k=some))
    for i, (row, others) in enumerate(zip(distances.tolist(), found.tolist(), strict=True)):
        for gap, j in zip(row, others, strict=True):
            if j == i or gap > reach_mm:
                continue
            own = lone[i] // 2 == lone[j] // 2
            if own and _run(strokes[int(lone[i]) // 2]) < _LONG_ENOUGH * gap:
                continue
            near[i].append((gap, j))
    return near


def _run(stroke: Stroke) -> float:
    return float(np.hypot(*np.diff(stroke.points_mm, axis=0).T).sum())


def _clear_pairs(near: list[list[tuple[float, int]]], close_mm: float) -> list[tuple[int, int]]:
    """Pairs of ends that are each other's nearest, with no third end that competes."""
    pairs = []
    for i, others in enumerate(near):
        if not others:
            continue
        gap, j = others[0]
        mutual = near[j] and near[j][0][1] == i
        least = max(close_mm, _COMPETES * gap)
        alone = all(row[1][0] > least for row in (near[i], near[j]) if len(row) > 1)
        if i < j and mutual and gap <= close_mm and alone:
            pairs.append((i, j))
    return pairs


def _asked_pairs(
    near: list[list[tuple[float, int]]],
    clear: list[tuple[int, int]],
    places: FloatArray,
    layer: str,
    findings: Findings,
) -> list[tuple[int, int]]:
    """Pairs of ends that a person joins; the likeliest are those that are nearest."""
    taken = {end for pair in clear for end in pair}
    order = sorted(range(len(near)), key=lambda i: (near[i][0][0] if near[i] else np.inf, i))
    pairs = []
    for i in order:
        others = [(gap, j) for gap, j in near[i] if j not in taken][:_MOST_OFFERED]
        if i in taken or not others:
            continue
        names = ["join"] if len(others) == 1 else [f"join-{n + 1}" for n in range(len(others))]
        choices = {
            name: f"It is joined to the end {gap:.3g} mm away at {place_of(places[j])}."
            for name, (gap, j) in zip(names, others, strict=True)
        }
        rivals = "" if len(others) == 1 else f"; {len(others)} ends compete for it"
        answer = findings.ask(
            "gap",
            f"Layer {layer}: the line is open at {place_of(places[i])}; the nearest other end is "
            f"{others[0][0]:.3g} mm away{rivals}.",
            {**choices, "apart": "It stays open."},
            default=names[0],
            at=places[i],
        )
        if answer != "apart":
            j = others[names.index(answer)][1]
            taken |= {i, j}
            pairs.append((i, j))
    return pairs


def _meet(
    strokes: list[Stroke], bridges: list[Stroke], one: int, two: int, gap: float, close_mm: float
) -> str:
    """Bring two ends together in *strokes*, or lay a bridge between them; how, in words."""
    corner = _crossing(strokes, one, two, gap)
    if corner is None and gap > close_mm:
        points = np.array([strokes[end // 2].points_mm[-(end % 2)] for end in (one, two)])
        order = strokes[one // 2].order
        bridges.append(Stroke(points, np.zeros(1), False, "a closed gap", order=order))
        return "by a straight line"
    ends = [strokes[end // 2].points_mm[-(end % 2)] for end in (one, two)]
    meeting = 0.5 * (ends[0] + ends[1]) if corner is None else corner
    for end in (one, two):
        points = np.array(strokes[end // 2].points_mm)
        points[-(end % 2)] = meeting
        strokes[end // 2] = replace(strokes[end // 2], points_mm=points)
    return "in the middle" if corner is None else "where its lines meet"


def _crossing(strokes: list[Stroke], one: int, two: int, gap: float) -> FloatArray | None:
    """Where the straight lines that end there would meet, if that is near both ends."""
    ends, along = [], []
    for end in (one, two):
        stroke, last = strokes[end // 2], end % 2
        if stroke.bulges[-last] != 0.0 or len(stroke.points_mm) < (
            3 if one // 2 == two // 2 else 2
        ):
            return None
        ends.append(stroke.points_mm[-last])
        along.append(stroke.points_mm[-last] - stroke.points_mm[-2 if last else 1])
    across = float(along[0][0] * along[1][1] - along[0][1] * along[1][0])
    if abs(across) < 0.02 * float(np.hypot(*along[0]) * np.hypot(*along[1])):
        return None
    away = ends[1] - ends[0]
    share = float(away[0] * along[1][1] - away[1] * along[1][0]) / across
    corner: FloatArray = ends[0] + share * along[0]
    if max(np.hypot(*(corner - end)) for end in ends) > 2.0 * gap:
        return None
    return corner
