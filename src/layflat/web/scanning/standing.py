"""The scan upright and without its floor, as the bench shows it."""

import functools
import io
from typing import Any

import numpy as np

from layflat import __version__
from layflat.base import InputError, frozen
from layflat.surface import Features, Mesh, Plane, features, prepare
from layflat.web.bodies.models import Revision
from layflat.web.files.store import path_of
from layflat.web.scanning.state import State
from layflat.web.work.models import Computation
from layflat.web.work.models import State as Work
from layflat.web.work.tasks import key_of

_REMEMBERED = 3
"""A body with its features takes some fifty megabytes."""

_LOOKED_AT = 40
_OF_THE_CUT = ("mesh", "triangles", "light_triangles", "removed_mm2", "pieces", "removed")


def source_of(revision: Revision) -> dict[str, Any]:
    """The scan of a revision as tasks take it; see `layflat.web.bodies.mended`.

    Raises:
        InputError: it is not ready.
    """
    made = revision.preparation
    if revision.scan is None:
        raise InputError("This body has no scan; add one on its page.")
    if not revision.is_ready or made is None or made.result is None:
        raise InputError("The scan is not prepared yet; wait until its page shows it in 3D.")
    return {
        "scan": revision.scan.sha256,
        "unit": revision.unit,
        "mended": made.result.get("mended", ""),
    }


def standing_inputs(revision: Revision, state: State) -> dict[str, Any]:
    """What the task "scanning.stand" is asked with.

    Raises:
        InputError: the revision is not ready.
    """
    return {
        **source_of(revision),
        "floor": [list(point) for point in state.floor],
        "pair": [list(point) for point in state.pair],
        "flip": state.flip,
        "within_mm": state.within_mm,
    }


def standing_of(revision: Revision, state: State) -> Computation | None:
    """The computation for a state, if it was asked for."""
    key = key_of("scanning.stand", standing_inputs(revision, state))
    return Computation.objects.filter(key=key).first()


def mesh_bytes(mesh: Mesh) -> bytes:
    """A mesh to be kept for `mesh_in`."""
    stream = io.BytesIO()
    np.savez(stream, vertices_mm=mesh.vertices_mm, faces=mesh.faces.astype(np.int32))
    return stream.getvalue()


def mesh_in(sha256: str) -> Mesh:
    """The mesh that was kept.

    Raises:
        InputError: it is no longer in the data folder.
    """
    try:
        with path_of(sha256).open("rb") as file, np.load(file, allow_pickle=False) as held:
            return Mesh(frozen(held["vertices_mm"]), held["faces"].astype(np.int64))
    except FileNotFoundError as error:
        raise InputError("The scan on the bench is gone; put it upright again.") from error


@functools.lru_cache(maxsize=_REMEMBERED)
def features_in(sha256: str) -> Features:
    """The mesh that was kept, with its features.

    Raises:
        InputError: it is no longer in the data folder.
    """
    return features(prepare(mesh_in(sha256)))


def earlier_cut(inputs: dict[str, Any], plane: Plane | None) -> dict[str, Any] | None:
    """What an earlier computation found of the same scan over the same floor, or None.

    Args:
        inputs: of the task "scanning.stand".
        plane: the floor.

    Returns:
        the part of its result that says what was cut and what is left.
    """
    earlier = Computation.objects.filter(
        task="scanning.stand",
        state=Work.DONE,
        version=__version__,
        **{f"inputs__{name}": inputs[name] for name in ("scan", "unit", "mended")},
    )
    floor = (None, None) if plane is None else (plane.normal.tolist(), plane.offset_mm)
    results = earlier.exclude(result=None).order_by("-pk").values_list("result", flat=True)
    for result in results[:_LOOKED_AT]:
        if result is None:
            continue
        before = result["floor"]
        same = (before["normal"], before["offset_mm"]) == floor
        if same and result["within_mm"] == inputs["within_mm"]:
            return {name: result[name] for name in _OF_THE_CUT}
    return None
