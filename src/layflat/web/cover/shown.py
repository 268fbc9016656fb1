"""What of a panel lies under film, for the viewer, and pictures of a vehicle with its film."""

import functools
import hashlib
import io
import json
from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from scipy.spatial import cKDTree

from layflat.base import FloatArray, InputError
from layflat.papers import Line, Mark, Stage, make_stage, render
from layflat.surface import Mesh, locate
from layflat.web.bodies.models import Revision
from layflat.web.bodies.picture import corner_view
from layflat.web.cover.choices import Choices, PanelChoice, Point, to_json
from layflat.web.cover.lines import DrawnPart, trace_line
from layflat.web.cover.panels import panels_on, surfaces_of

SIZE_PX: Final = (480, 300)
_BARE: Final = (190, 185, 176)
_FILM: Final = (86, 150, 194)
_FREE: Final = (255, 255, 255)
_OFF_MM: Final = 10.0
"""A vertex farther than that from the covered part is bare; a tap nearer than that to an edge is
at it."""
_ON_MM: Final = 5.0
_FAR_MM: Final = 150.0
"""A tap that far beside the panel was not meant for its edge."""


def part_of_panel(revision: Revision, choice: PanelChoice) -> DrawnPart:
    """The covered part of a panel that is covered up to a line.

    Raises:
        InputError: the line does not part the panel.
    """
    return trace_line(revision, choice.panel, choice.line_mm, choice.keep_mm)


def part_json(part: DrawnPart) -> dict[str, Any]:
    """A covered part for the viewer: its triangles, its line, and its share of the panel."""
    return {
        "positions": _flat(part.positions),
        "indices": np.asarray(part.indices).reshape(-1).tolist(),
        "line": np.asarray(part.points_mm).round(2).tolist(),
        "share": round(part.share, 4),
    }


def _flat(points: Any) -> list[float]:
    rounded: list[float] = np.asarray(points, np.float64).round(2).reshape(-1).tolist()
    return rounded


def other_side(revision: Revision, choice: PanelChoice) -> Point:
    """A point on the bare side of a panel's line: the one farthest from the film.

    Raises:
        InputError: the line does not part the panel.
    """
    panel = panels_on(revision).of(choice.panel)
    covered = part_of_panel(revision, choice)
    whole = surfaces_of(revision)[panel.mesh].vertices_mm
    tree = cKDTree(np.asarray(covered.positions, np.float64).reshape(-1, 3))
    gaps = np.asarray(tree.query(whole)[0], np.float64)
    if gaps.max() < _OFF_MM:
        raise InputError("The line leaves nothing bare; draw it anew.")
    x, y, z = (round(float(value), 2) for value in whole[int(gaps.argmax())])
    return (x, y, z)


def drawn_to_edges(revision: Revision, panel: str, points: Sequence[Point]) -> tuple[Point, ...]:
    """A drawn line with its ends led on to the panel's nearest edges, as a hand means it.

    An end that was tapped beside the panel goes to the edge; one within it is led on from there;
    one at an edge stays.

    Raises:
        InputError: there is no such panel, or it could not be cut out of its body.
    """
    facts = panels_on(revision).of(panel)
    if not facts.mesh:
        raise InputError(f"The {facts.in_sentence} cannot be cut out of the scan.")
    surface = surfaces_of(revision)[facts.mesh]
    rims = np.concatenate([edge.points_mm for edge in facts.edges if not edge.is_opening])
    ends = np.array([points[0], points[-1]])
    off = locate(surface, ends).distances_mm > _ON_MM
    to_rims = np.linalg.norm(rims[None] - ends[:, None], axis=2)
    middle = [*points[1:-1]]
    first, last = (
        _led_on(points[k], rims[int(to_rims[i].argmin())], float(to_rims[i].min()), bool(off[i]))
        for i, k in ((0, 0), (1, -1))
    )
    return (*first, *middle, *last[::-1])


def _led_on(tapped: Point, rim: FloatArray, gap_mm: float, is_off: bool) -> tuple[Point, ...]:
    """One end of a line, from the edge inwards."""
    x, y, z = (round(float(value), 2) for value in rim)
    if gap_mm > _FAR_MM and is_off:
        return (tapped,)
    if is_off:
        return ((x, y, z),)
    return (tapped,) if gap_mm < _OFF_MM else ((x, y, z), tapped)


def choices_word(choices: Choices) -> str:
    """A short word for all choices, by which browsers keep a picture of them."""
    return hashlib.sha256(json.dumps(to_json(choices)).encode()).hexdigest()[:16]


def picture(revision: Revision, choices: Choices) -> bytes:
    """A PNG of the vehicle with what is covered in chalk, for cards; kept for who asks again.

    Raises:
        InputError: the body is not prepared, or its files are gone.
    """
    if not revision.has_scan:
        raise InputError("The body has no scan, so there is no picture of it.")
    if revision.light is None:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    return _picture(_Asked(revision, choices, revision.light.sha256, choices_word(choices)))


class _Asked:
    """A picture that is asked for, told from others by its body and its choices."""

    def __init__(self, revision: Revision, choices: Choices, light: str, word: str) -> None:
        self.revision, self.choices = revision, choices
        self.key = (light, word)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Asked) and other.key == self.key

    def __hash__(self) -> int:
        return hash(self.key)


@functools.lru_cache(maxsize=128)
def _picture(asked: _Asked) -> bytes:
    body, surfaces = panels_on(asked.revision), surfaces_of(asked.revision)
    turn = np.stack([body.forward, np.cross(body.up, body.forward), body.up])
    marks, lines, film = [], [], []
    for panel in body.panels.values():
        choice = asked.choices.of(panel.name)
        rims = [edge.points_mm for edge in panel.edges]
        if panel.mesh:
            whole = surfaces[panel.mesh]
            is_film = choice is not None and choice.is_whole
            marks.append(Mark(_turned(whole, turn), _FILM if is_film else _BARE))
            film += [marks[-1].mesh] if is_film else []
        part = _part_or_none(asked.revision, choice)
        if part is not None:
            marks.append(Mark(_turned(part.mesh, turn), _FILM))
            film.append(marks[-1].mesh)
            rims.append(part.points_mm)
        for item in panel.keep_outs:
            over = choice is not None and item.name in choice.film_over
            if item.mesh in surfaces and not over:
                marks.append(Mark(_turned(surfaces[item.mesh], turn), _FREE))
        lines += [Line(points_mm=np.einsum("ij,kj->ki", turn, rim), width_px=1.0) for rim in rims]
    image = render(
        _stage(asked.key[0], asked.revision),
        view=corner_view(film),
        size_px=SIZE_PX,
        lines=lines,
        marks=marks,
        ground=True,
        supersample=1,
    )
    held = io.BytesIO()
    image.save(held, "PNG", optimize=True)
    return held.getvalue()


def _part_or_none(revision: Revision, choice: PanelChoice | None) -> DrawnPart | None:
    """The covered part up to a line; a line that parts nothing leaves the panel bare."""
    if choice is None or choice.is_whole:
        return None
    try:
        return part_of_panel(revision, choice)
    except InputError:
        return None


_STAGES: dict[str, Stage] = {}


def _stage(light: str, revision: Revision) -> Stage:
    """The body made ready to be seen; the last few are kept."""
    if light not in _STAGES:
        while len(_STAGES) >= 4:
            _STAGES.pop(next(iter(_STAGES)))
        body = panels_on(revision)
        turn = np.stack([body.forward, np.cross(body.up, body.forward), body.up])
        _STAGES[light] = make_stage(_turned(surfaces_of(revision)["body"], turn), sky_directions=12)
    return _STAGES[light]


def _turned(mesh: Mesh, turn: FloatArray) -> Mesh:
    """The mesh with the vehicle along x and z, as cameras look at it."""
    return Mesh(np.einsum("ij,kj->ki", turn, mesh.vertices_mm), mesh.faces)
