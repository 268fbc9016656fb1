"""How much a relief would gain, and whether it may be cut at all."""

import numpy as np

from layflat.base import FloatArray, MeshError
from layflat.film import Flat, flatten, overlaps
from layflat.fit.fingers import compression
from layflat.fit.relief_cut import cut_relief, flatten_again, opened_along
from layflat.fit.relief_paths import Candidate
from layflat.fit.relief_words import OPEN_PAINT_SPARED, OPEN_SHARE, visible_length_mm
from layflat.surface import Region

QUICK_STEPS = 15
"""Steps of the descent when a candidate is only compared with others."""


def beyond_limits_mm2(flat: Flat) -> float:
    """How far a piece is beyond its film's limits: 0 within them, see docs/theory-fit.md."""
    pressed = np.maximum(compression(flat) - flat.film.finger_limit, 0.0)
    pulled = np.maximum(flat.strain.greatest - 1.0 - flat.film.stretch_limit, 0.0)
    return float(np.sum(flat.mesh.face_areas_mm2 * (pressed**2 + pulled**2)))


def worth_showing(
    flat: Flat, tries: list[Candidate], seen: FloatArray, creased: FloatArray
) -> tuple[list[Candidate], list[str]]:
    """The candidates without those on open paint for what warmth takes up, and a word on these.

    Common practice, no source: nobody cuts open paint where warmed film can be pressed down.
    """
    squeezed, middles = compression(flat), flat.mesh.vertices_mm[flat.mesh.faces].mean(axis=1)
    takes_up, kept, most = flat.film.wrap_finger_limit, list[Candidate](), 0.0
    for candidate in tries:
        points = flat.mesh.vertices_mm[candidate.path]
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        visible = visible_length_mm(steps, seen[candidate.path], creased[candidate.path])
        if visible <= OPEN_SHARE * float(steps.sum()):
            kept.append(candidate)
            continue
        near = np.linalg.norm(middles - points[0], axis=1) <= candidate.length_mm
        pressed = float(np.quantile(squeezed[near], 0.9))
        most = max(most, pressed)
        if pressed > takes_up:
            kept.append(candidate)
    if len(kept) == len(tries) or most <= 0.0:
        return kept, []
    sentence = (
        f"{OPEN_PAINT_SPARED} the film is pressed by less than "
        f"{100 * takes_up:g} % (there by up to {100 * min(most, takes_up):.1f} %): warmed, it can "
        "be pressed down."
    )
    return kept, [sentence]


def tried_mm2(flat: Flat, candidate: Candidate) -> float:
    """How far the piece is beyond its limits with a candidate, nearly: along the mesh's edges."""
    mesh, start = opened_along(flat, candidate.path)
    laid = flatten(
        mesh,
        flat.film,
        finger_aversion=flat.finger_aversion,
        max_steps=QUICK_STEPS,
        start_mm=start,
    )
    return beyond_limits_mm2(laid)


def cut_paths(
    region: Region, flat: Flat, paths: list[FloatArray], notes: list[str]
) -> tuple[Region, Flat] | None:
    """The region with these cuts, laid anew; None where they cannot be cut."""
    try:
        for path in paths:
            region = cut_relief(region, path)
        laid = flatten_again(region, flat)
    except MeshError:
        # A search tries places that may be too near to another relief to be cut; the next will do.
        return None
    if overlaps(laid):
        notes.append(
            "A place was passed over: its cut would have to overlap in the flat, as film is "
            "missing there, not too much. A seam is the answer."
        )
        return None
    return region, laid
