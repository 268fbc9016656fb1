"""What every panel of a revision measures in the flat, found once and used by every estimate."""

import functools
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from layflat.base import CheckError, FloatArray, InputError, Progress, frozen, part_of
from layflat.film import generic_film, to_flat
from layflat.job import Cover, Piece, make_piece
from layflat.papers import panel_title, summarise
from layflat.pattern import pattern_area_mm2, pattern_cut_mm, sample
from layflat.surface import EdgeKind, prepare
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.mended import mended_scan
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices
from layflat.web.cover.order import film_order
from layflat.web.cover.panels import surfaces_in
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep, path_of
from layflat.web.people.models import Person
from layflat.web.work.models import Computation, State
from layflat.web.work.tasks import ask, key_of

TASK: Final = "cover.measure"
_OUTLINE_MM = 1.0
_MOST_BYTES = 200_000_000
_ANY_ROLL_MM = 1524.0
"""Pieces do not depend on the roll."""


@dataclass(frozen=True, eq=False)
class PanelMeasures:
    """One whole panel in the flat, its edges ending as the rules say.

    Attributes:
        name: on the body.
        area_mm2, outline_mm: of film, and the length of its outline and its cut-outs.
        cut_outs: how many holes it has.
        outline: (k, 2) float64, mm, as it lies in the flat.
        edges: name, kind and length in the flat, mm, of each.
        effort: "easy", "care" or "hard".
        stretch, compression: the greatest, as fractions.
        over_stretch, over_finger: shares of the surface beyond the film's limits.
        light_mm: (n, 2) float64, where the vertices of its light surface lie in the flat.
    """

    name: str
    area_mm2: float
    outline_mm: float
    cut_outs: int
    outline: FloatArray
    edges: tuple[tuple[str, EdgeKind, float], ...]
    effort: str
    stretch: float
    compression: float
    over_stretch: float
    over_finger: float
    light_mm: FloatArray


@dataclass(frozen=True, eq=False)
class Measures:
    """A revision's panels in the flat.

    Attributes:
        panels: by name, those that can be one piece.
        faults: why the others cannot, by name.
        stretch_limit, finger_limit: of the film that they were measured with, as fractions.
    """

    panels: Mapping[str, PanelMeasures]
    faults: Mapping[str, str]
    stretch_limit: float
    finger_limit: float


def measure_panels(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Flatten every panel of a body once.

    Args:
        inputs: `scan`, `unit`, `panels`, `mended` and `light` (see `revision_inputs`).
        progress: told each panel.

    Returns:
        `panels`, a list as `PanelMeasures` but for `light_mm`, or with `name` and `fault`; `light`,
        the SHA-256 of a NumPy archive with `light_mm` by the panels' places in the list;
        `stretch_limit` and `finger_limit`.

    Raises:
        LayflatError: the scan or the panels cannot be used; the sentence says why.
    """
    scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.1))
    info = panels_of(StoredFile.objects.get(sha256=inputs["panels"]))
    light = surfaces_in(inputs["light"])
    film = generic_film()
    found: list[dict[str, Any]] = []
    places: dict[str, Any] = {}
    body = prepare(scan.mesh)
    order = film_order(Choices(), roll_width_mm=_ANY_ROLL_MM)
    share = 1.0 / max(len(info.panels), 1)
    for i, panel in enumerate(info.panels):
        progress(f"measuring the {panel_title(panel.name)}", 0.1 + 0.9 * i * share)
        try:
            piece = make_piece(order, Cover(panel.name), panel, body, film)
        except (InputError, CheckError) as error:
            found.append({"name": panel.name, "fault": str(error)})
            continue
        found.append(_measured(piece))
        surface = light.get(f"panel-{i}")
        if surface is not None:
            places[str(i)] = to_flat(piece.flat, surface.vertices_mm).astype(np.float32)
    stream = io.BytesIO()
    np.savez(stream, **places)
    stored = keep(
        [stream.getvalue()],
        name="measures.npz",
        media_type="application/octet-stream",
        most_bytes=_MOST_BYTES,
        who=None,
    )
    return {
        "panels": found,
        "light": stored.sha256,
        "stretch_limit": film.stretch_limit,
        "finger_limit": film.finger_limit,
    }


def _measured(piece: Piece) -> dict[str, Any]:
    pattern, strain = piece.pattern, summarise(piece.flat)
    outline = sample(pattern.outline, deviation_mm=_OUTLINE_MM)
    return {
        "name": piece.name,
        "area_mm2": round(pattern_area_mm2(pattern), 1),
        "outline_mm": round(pattern_cut_mm(pattern), 1),
        "cut_outs": len(pattern.cut_outs),
        "outline": outline.round(1).reshape(-1).tolist(),
        "edges": [
            [record.name, record.kind.value, round(record.flat_length_mm, 1)]
            for record in pattern.edges
        ],
        "effort": strain.effort.value,
        "stretch": round(strain.stretch, 5),
        "compression": round(strain.compression, 5),
        "over_stretch": round(strain.over_stretch, 5),
        "over_finger": round(strain.over_finger, 5),
    }


def revision_inputs(revision: Revision) -> dict[str, Any]:
    """What computations on a revision are asked for with: contents by their hashes.

    Raises:
        InputError: it is not prepared yet, or has no panels.
    """
    if revision.scan is None:
        raise InputError("The body has no scan; its pieces come from kept patterns.")
    if revision.light is None:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    if revision.panels is None:
        raise InputError("This body has no panels yet; add them on the body's page.")
    made = revision.preparation.result if revision.preparation else None
    return {
        "scan": revision.scan.sha256,
        "unit": revision.unit,
        "panels": revision.panels.sha256,
        "light": revision.light.sha256,
        "mended": (made or {}).get("mended", ""),
    }


def cover_inputs(revision: Revision, choices: Choices) -> dict[str, Any]:
    """What the computation of *choices* on a revision is asked for with.

    Where every piece is a kept pattern, the scan is not asked for, and all of it is "".

    Raises:
        InputError: panels are covered on the surface, and it is not prepared or has none.
    """
    if choices.panels and not choices.on_surface:
        return {"scan": "", "unit": "", "panels": "", "light": "", "mended": ""}
    return revision_inputs(revision)


def ask_measures(revision: Revision, *, who: Person | None) -> Computation:
    """Ask for a revision's measures; answers at once.

    Raises:
        InputError: it is not prepared yet, or has no panels.
    """
    return ask(TASK, revision_inputs(revision), who=who)


def measured(revision: Revision) -> Measures | None:
    """A revision's measures, or None where there are none yet."""
    try:
        key = key_of(TASK, revision_inputs(revision))
    except InputError:
        return None
    try:
        return _read(key)
    except Computation.DoesNotExist:
        return None


@functools.lru_cache(maxsize=16)
def _read(key: str) -> Measures:
    # What is done never changes; what is not done yet raises and is not remembered.
    row = Computation.objects.get(key=key, state=State.DONE)
    result: dict[str, Any] = row.result or {}
    with path_of(result["light"]).open("rb") as file, np.load(file, allow_pickle=False) as held:
        places = {int(number): frozen(held[number]) for number in held.files}
    return Measures(
        panels={panel.name: panel for panel in _panels(result["panels"], places)},
        faults={item["name"]: item["fault"] for item in result["panels"] if "fault" in item},
        stretch_limit=result["stretch_limit"],
        finger_limit=result["finger_limit"],
    )


def _panels(
    found: list[dict[str, Any]], places: Mapping[int, FloatArray]
) -> Iterator[PanelMeasures]:
    nowhere = frozen(np.zeros((0, 2)))
    for i, item in enumerate(found):
        if "fault" in item:
            continue
        values = {**item, "outline": frozen(item["outline"]).reshape(-1, 2)}
        values["edges"] = tuple((name, EdgeKind(kind), size) for name, kind, size in item["edges"])
        yield PanelMeasures(**values, light_mm=places.get(i, nowhere))
