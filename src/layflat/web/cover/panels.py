"""The panels of a revision as covers are chosen on them: their edges, keep-outs and surfaces."""

import functools
import io
import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from layflat.base import FloatArray, InputError, frozen
from layflat.papers import panel_in_sentence, panel_title
from layflat.surface import EdgeKind, KeepOutKind, Mesh
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.store import path_of
from layflat.web.patterns.keeping import current
from layflat.web.patterns.models import KeptPattern, KeptRevision

_CAUTIONED = frozenset({KeepOutKind.SENSOR, KeepOutKind.EMBLEM})


@dataclass(frozen=True, eq=False)
class EdgeFacts:
    """An edge of a panel.

    Attributes:
        name: "" where nobody gave it one; then it ends as the rules say.
        kind, word: what lies beyond it, and that in words.
        points_mm: (k, 3) float64, along the surface.
        is_opening: whether it belongs to an opening of the panel.
    """

    name: str
    kind: EdgeKind
    word: str
    points_mm: FloatArray
    is_opening: bool

    @property
    def length_mm(self) -> float:
        """How long it is."""
        return float(np.linalg.norm(np.diff(self.points_mm, axis=0), axis=1).sum())


@dataclass(frozen=True)
class KeepOutFacts:
    """A keep-out of a panel: why it stays free, in words, and its surface's name in the GLB."""

    name: str
    kind: KeepOutKind
    word: str
    mesh: str

    @property
    def is_cautioned(self) -> bool:
        """Whether film over it can blind what is behind it."""
        return self.kind in _CAUTIONED


@dataclass(frozen=True, eq=False)
class PanelFacts:
    """A panel.

    Attributes:
        name, title: on the body, and as people write it.
        mesh: its surface's name in the GLB; "" where it could not be cut out.
        edges, keep_outs: in order.
        is_kept: whether the body knows it by a kept pattern alone, without a surface.
    """

    name: str
    title: str
    mesh: str
    edges: tuple[EdgeFacts, ...]
    keep_outs: tuple[KeepOutFacts, ...]
    is_kept: bool = False

    @property
    def in_sentence(self) -> str:
        """The title within a sentence."""
        return panel_in_sentence(self.name)

    def edge(self, name: str) -> EdgeFacts:
        """The edge of that name.

        Raises:
            InputError: there is none.
        """
        found = next((edge for edge in self.edges if name and edge.name == name), None)
        if found is None:
            raise InputError(f"The {self.in_sentence} has no edge “{name}”; open the page anew.")
        return found

    def keep_out(self, name: str) -> KeepOutFacts:
        """The keep-out of that name.

        Raises:
            InputError: there is none.
        """
        found = next((item for item in self.keep_outs if name and item.name == name), None)
        if found is None:
            raise InputError(
                f"The {self.in_sentence} has no keep-out “{name}”; open the page anew."
            )
        return found


@dataclass(frozen=True, eq=False)
class BodyPanels:
    """All panels of a revision.

    Attributes:
        panels: by name, in the body's order.
        forward, up: (3,) float64 unit vectors of the vehicle.
        body_id: the body's key, by which its kept patterns are found.
    """

    panels: Mapping[str, PanelFacts]
    forward: FloatArray
    up: FloatArray
    body_id: int = 0

    def of(self, name: str) -> PanelFacts:
        """The panel of that name; one that is known by a kept pattern alone has no surface.

        Raises:
            InputError: there is none.
        """
        if name in self.panels:
            return self.panels[name]
        found = KeptPattern.objects.filter(body=self.body_id, name=name).first()
        if found is None:
            raise InputError(f"This body has no panel “{name}”; open the page anew.")
        return PanelFacts(name, found.title, "", (), (), is_kept=True)

    @property
    def kept(self) -> list[KeptRevision]:
        """The newest revisions of the body's kept patterns, by title."""
        return current(Body(pk=self.body_id))

    def kept_revision(self, name: str) -> KeptRevision:
        """The newest revision of the body's kept pattern of that name.

        Raises:
            InputError: there is none.
        """
        found = next((item for item in self.kept if item.kept.name == name), None)
        if found is None:
            raise InputError(f"This body has no kept pattern “{name}”; open the page anew.")
        return found

    def title(self, name: str) -> str:
        """How people write a panel's name, also of one that is not there."""
        try:
            return self.of(name).title
        except InputError:
            return panel_title(name)


_NONE = BodyPanels({}, frozen(np.array([1.0, 0.0, 0.0])), frozen(np.array([0.0, 0.0, 1.0])))


def panels_on(revision: Revision) -> BodyPanels:
    """The panels of a revision; none but the kept patterns where it has no scan.

    Raises:
        InputError: it is not prepared yet, or its file is gone.
    """
    if not revision.has_scan:
        return replace(_NONE, body_id=revision.body_id)
    if revision.lines is None:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    return replace(_read_panels(revision.lines.sha256), body_id=revision.body_id)


def surfaces_of(revision: Revision) -> Mapping[str, Mesh]:
    """The light surfaces of a revision by name: "body", "panel-0" …, "keep-out-0-0" and so on.

    Raises:
        InputError: it is not prepared yet, or its file is gone.
    """
    if not revision.has_scan:
        raise InputError("The body has no scan; its pieces come from kept patterns.")
    if revision.light is None:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    return surfaces_in(revision.light.sha256)


def _content(sha256: str) -> bytes:
    try:
        return path_of(sha256).read_bytes()
    except OSError as error:
        raise InputError("The body's files are no longer in the data folder.") from error


@functools.lru_cache(maxsize=16)
def _read_panels(sha256: str) -> BodyPanels:
    found = json.loads(_content(sha256))
    panels = [_panel(item) for item in found["panels"]]
    return BodyPanels(
        {panel.name: panel for panel in panels},
        frozen(np.array(found["forward"], np.float64)),
        frozen(np.array(found["up"], np.float64)),
    )


def _panel(found: dict[str, Any]) -> PanelFacts:
    edges = tuple(
        EdgeFacts(
            item["name"],
            EdgeKind(item["kind"]),
            item["word"],
            frozen(np.array(item["points"], np.float64)).reshape(-1, 3),
            item["opening"],
        )
        for item in found["edges"]
    )
    keep_outs = tuple(
        KeepOutFacts(item["name"], KeepOutKind(item["kind"]), item["word"], item["mesh"])
        for item in found["keep_outs"]
    )
    return PanelFacts(found["name"], found["title"], found["mesh"], edges, keep_outs)


@functools.lru_cache(maxsize=4)
def surfaces_in(sha256: str) -> Mapping[str, Mesh]:
    """The surfaces in a revision's light file, by name (see `surfaces_of`)."""
    import trimesh  # read only here, since it is large

    scene: Any = trimesh.load_scene(io.BytesIO(_content(sha256)), file_type="glb", process=False)
    return {
        name: Mesh(np.array(part.vertices, np.float64), np.array(part.faces, np.int64))
        for name, part in scene.geometry.items()
    }
