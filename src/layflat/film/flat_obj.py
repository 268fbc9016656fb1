"""A flat pattern as a Wavefront OBJ: the surface, with the flat shape as texture coordinates."""

import numpy as np

from layflat.base import FloatArray, IntArray
from layflat.film.flat import Flat


def flat_obj(flat: Flat) -> str:
    """The OBJ text of *flat*.

    One ``vt`` in millimetres for each vertex, with the same number; nine digits behind the
    point, so that nothing above a millionth of a millimetre is lost.
    """
    lines = [
        "# Layflat: v is the surface in mm, vt the flat pattern in mm\n",
        _lines("v %.9f %.9f %.9f\n", flat.mesh.vertices_mm),
        _lines("vt %.9f %.9f\n", flat.points_mm),
        _lines("f %d/%d %d/%d %d/%d\n", np.repeat(flat.mesh.faces + 1, 2, axis=1)),
    ]
    return "".join(lines)


def _lines(form: str, rows: FloatArray | IntArray) -> str:
    """Each of *rows* in the *form*, in one stroke: a loop over rows would take seconds."""
    return (form * len(rows)) % tuple(rows.ravel().tolist())
