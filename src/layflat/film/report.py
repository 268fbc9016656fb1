"""The results of a flattening, as they go into its report."""

from typing import Any

from layflat.film.flat import Flat
from layflat.film.material import NOT_STATED, QUANTITIES, Film
from layflat.film.overlap import overlaps
from layflat.film.sheet import sheet_loops
from layflat.film.strain import stretch_summary

_LIMITS = ("stretch_limit", "finger_limit")
"""The numbers of a film that its verdicts rest on."""


def limits_basis(film: Film) -> dict[str, str]:
    """What the film's limits rest on: measured, test report, assumed or not stated."""
    return {key: film.basis_of(key) for key in _LIMITS}


def film_notes(film: Film) -> tuple[str, ...]:
    """Sentences for a person about what the film does not say of itself."""
    silent = [QUANTITIES[key] for key, word in limits_basis(film).items() if word == NOT_STATED]
    if not silent:
        return ()
    rest = "rest" if len(silent) > 1 else "rests"
    sentence = (
        f"The film “{film.name}” does not state what its {' and '.join(silent)} {rest} on; say "
        "measured, test report or assumed under [basis] in its file."
    )
    return (sentence,)


def flatten_report(flat: Flat) -> dict[str, Any]:
    """What came out of a flattening: plain numbers with their units in the names."""
    summary = stretch_summary(flat)
    return {
        "energy_mj": flat.energy_mj,
        "surface_area_mm2": flat.mesh.area_mm2,
        "pattern_area_mm2": flat.pattern_area_mm2,
        "greatest_stretch": summary.greatest,
        "least_stretch": summary.least,
        "greatest_stretch_p01": summary.greatest_p01,
        "greatest_stretch_p99": summary.greatest_p99,
        "least_stretch_p01": summary.least_p01,
        "least_stretch_p99": summary.least_p99,
        "share_over_stretch_limit": summary.share_over_stretch_limit,
        "share_under_finger_limit": summary.share_under_finger_limit,
        "vertices": len(flat.mesh.vertices_mm),
        "triangles": len(flat.mesh.faces),
        "boundary_loops": len(sheet_loops(flat.mesh)),
        "steps": flat.steps,
        "converged": flat.converged,
        "inverted_triangles": flat.inverted_triangles,
        "overlap_area_mm2": sum(overlap.area for overlap in overlaps(flat)),
        "finger_aversion": flat.finger_aversion,
        "limits_basis": limits_basis(flat.film),
    }


def flatten_warnings(flat: Flat) -> tuple[str, ...]:
    """Sentences for a person about what in *flat* asks for care."""
    sentences = []
    if not flat.converged:
        sentences.append(
            f"The flattening was ended after {flat.steps} steps, before it had converged; the "
            "pattern is not yet the best one. Allow more steps."
        )
    places = overlaps(flat)
    if places:
        x, y = places[0].centroid.x, places[0].centroid.y
        sentences.append(
            f"The flat pattern overlaps itself in {len(places)} places, first near "
            f"x {x:.0f}, y {y:.0f} mm: it cannot be cut in one piece. Split the panel."
        )
    return tuple(sentences)
