"""How film fits one panel, or one part of it beside a seam: its steps, each kept by its key."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Final

from layflat.base import FloatArray, Kept, MeshError, Progress, digest, part_of, silent
from layflat.film import Film, Flat, flatten, overlaps
from layflat.fit import (
    BlankOrFitted,
    BlankRates,
    Fingers,
    Judged,
    PiecePlan,
    Reliefs,
    SeamRates,
    Seams,
    Sight,
    blank_or_fitted,
    cut_relief,
    find_fingers,
    judge,
    nearest_part,
    plan_piece,
    propose_reliefs,
    propose_seams,
    split_regions,
)
from layflat.job.order import Cover, FilmOrder
from layflat.job.pieces import (
    Piece,
    finish_piece,
    part_name,
    require_past_keep_outs,
    whole_region,
)
from layflat.pattern import Pattern, curve_length_mm
from layflat.plan import Pace
from layflat.surface import BodyInfo, Mesh, Panel, Prepared, Region, prepare

MOST_RELIEFS: Final = 6


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """How proposals are made.

    Attributes:
        sight: how well places of the car are seen.
        refused_reliefs: paths that a person refused, by panel: none is proposed near them.
        most_reliefs: no more reliefs on a panel than this.
        refused_seams: the same for seams.
        seam_rates: what a seam takes, or None for its assumptions.
        blank_rates: what a blank takes, or None for its assumptions.
        pace: minutes of one person, or None for the assumptions of this program.
    """

    sight: Sight = field(default_factory=Sight)
    refused_reliefs: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    most_reliefs: int = MOST_RELIEFS
    refused_seams: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    seam_rates: SeamRates | None = None
    blank_rates: BlankRates | None = None
    pace: Pace | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class FittedPanel:
    """One panel, or its part beside a seam, with all that is to be known of how film fits it.

    Attributes:
        piece: as it is ordered, with the reliefs that were accepted.
        fingers: where that piece fingers.
        judged: what laying it asks of the film.
        reliefs: further cuts that would help, each with its gain.
        seams: one piece against two; None for a part beside a seam that was accepted.
        blank: a bulk rectangle beside the pattern.
        plan: how the piece is laid.
    """

    piece: Piece
    fingers: Fingers
    judged: Judged
    reliefs: Reliefs
    seams: Seams | None
    blank: BlankOrFitted
    plan: PiecePlan

    @property
    def name(self) -> str:
        """The piece's."""
        return self.piece.name


class WorkBody:
    """The body, prepared for cutting once that is needed."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.key = digest(mesh)

    @cached_property
    def prepared(self) -> Prepared:
        """For cutting panels out of it."""
        return prepare(self.mesh)


@dataclass(frozen=True, eq=False)
class WorkGiven:
    """What the work on every panel needs."""

    order: FilmOrder
    body: WorkBody
    info: BodyInfo
    film: Film
    how: Fitting
    folder: Path


class PanelSteps:
    """The steps of one panel, each with the key of all that it depends on."""

    def __init__(self, given: WorkGiven, cover: Cover, panel: Panel, store: Kept) -> None:
        self.given, self.cover, self.panel, self.store = given, cover, panel, store
        info = given.info
        self.seen = (info.up, info.forward)
        self.region_key = (
            given.body.key,
            replace(panel, keep_outs=()),
            cover.line_mm,
            cover.keep_mm,
        )

    def fitted(self, progress: Progress = silent) -> tuple[FittedPanel, ...]:
        """All of it: one, or one for each part beside the cover's seams."""
        cover = self.cover
        progress("cutting it out", 0.0)
        region = self.region()
        if not cover.seams:
            return (self._fitted(0, region, self.region_key, cover, progress),)
        key = (self.region_key, cover.seams)
        regions = self.store.get("parts", key, lambda: split_regions(region, cover.seams))
        require_past_keep_outs(cover, self.panel, regions)
        own: list[list[FloatArray]] = [[] for _ in regions]
        for path in cover.reliefs:
            own[nearest_part(regions, path)].append(path)
        found = []
        for i, (part, reliefs) in enumerate(zip(regions, own, strict=True)):
            told = part_of(progress, start=i / len(regions), end=(i + 1) / len(regions))
            mine = replace(cover, reliefs=tuple(reliefs))
            found.append(self._fitted(i + 1, part, (*key, i), mine, told))
        return tuple(found)

    def _fitted(
        self,
        part: int,
        region: Region,
        region_key: Sequence[object],
        cover: Cover,
        progress: Progress,
    ) -> FittedPanel:
        """The panel (0), or its part with this number."""
        given = self.given
        whole_key = digest(region_key, given.film, given.order.finger_aversion)
        told = part_of(progress, start=0.1, end=0.3)
        whole = self.store.get("flat", (whole_key,), lambda: self._flat(region, cover, part, told))
        opened, flat, flat_key = region, whole, whole_key
        if cover.reliefs:
            flat_key = digest(whole_key, cover.reliefs)
            opened, flat = self.store.get(
                "opened", (flat_key,), lambda: self._opened(region, cover, part, progress)
            )
        progress("looking for fingers", 0.3)
        fingers = self.store.get("fingers", (flat_key,), lambda: find_fingers(flat))
        progress("drawing the pattern", 0.4)
        piece_key = (flat_key, given.order.finishes, cover, self.panel, part)
        piece = self.store.get(
            "piece",
            piece_key,
            lambda: finish_piece(
                given.order, cover, self.panel, opened, flat, given.body.prepared, part=part
            ),
        )
        progress("blank or fitted", 0.5)
        how = given.how
        roll_mm = given.order.layout.stock.width_mm
        blank = self.store.get(
            "blank",
            (piece_key, roll_mm, how.blank_rates, how.pace),
            lambda: _blank(piece, roll_mm, how),
        )
        progress("planning how it is laid", 0.55)
        plan = self.store.get("plan", (piece_key, self.seen), lambda: self._plan(piece, fingers))
        refused = tuple(how.refused_reliefs.get(self.panel.name, ()))
        relief_key = (whole_key, self.seen, how.sight, cover.reliefs, refused, how.most_reliefs)
        told = part_of(progress, start=0.6, end=0.8)
        reliefs = self.store.get(
            "reliefs", relief_key, lambda: self._reliefs(region, whole, cover, refused, told)
        )
        return FittedPanel(
            piece=piece,
            fingers=fingers,
            judged=judge(flat, fingers=(fingers,)),
            reliefs=reliefs,
            seams=None if part else self._seams(region, whole, whole_key, progress),
            blank=blank,
            plan=plan,
        )

    def region(self) -> Region:
        """The surface that is covered, without seams and reliefs."""
        return self.store.get(
            "region",
            self.region_key,
            lambda: whole_region(self.cover, self.panel, self.given.body.prepared),
        )

    def _flat(self, region: Region, cover: Cover, part: int, progress: Progress) -> Flat:
        given = self.given
        flat = flatten(
            region.mesh,
            given.film,
            finger_aversion=given.order.finger_aversion,
            progress=progress,
        )
        if overlaps(flat) and not cover.reliefs:
            raise MeshError(
                f"The panel “{part_name(self.panel.name, part)}” cannot be one piece: its flat "
                "shape overlaps itself. Cover it with two."
            )
        return flat

    def _opened(
        self, region: Region, cover: Cover, part: int, progress: Progress
    ) -> tuple[Region, Flat]:
        for path in cover.reliefs:
            region = cut_relief(region, path)
        return region, self._flat(region, cover, part, progress)

    def _seams(self, region: Region, flat: Flat, whole_key: str, progress: Progress) -> Seams:
        """One piece against two."""
        how, info = self.given.how, self.given.info
        refused = tuple(how.refused_seams.get(self.panel.name, ()))
        roll_mm = self.given.order.layout.stock.width_mm
        return self.store.get(
            "seams",
            (whole_key, self.seen, how.sight, how.seam_rates, roll_mm, refused),
            lambda: propose_seams(
                region,
                flat,
                sight=how.sight,
                rates=how.seam_rates,
                roll_mm=roll_mm,
                refused=refused,
                up=info.up,
                forward=info.forward,
                body=self.given.body.mesh,
                progress=part_of(progress, start=0.8, end=1.0),
            ),
        )

    def _plan(self, piece: Piece, fingers: Fingers) -> PiecePlan:
        return plan_piece(
            piece.flat,
            piece.region,
            wraps=piece.wraps,
            fingers=fingers,
            up=self.given.info.up,
            forward=self.given.info.forward,
        )

    def _reliefs(
        self,
        region: Region,
        flat: Flat,
        cover: Cover,
        refused: tuple[FloatArray, ...],
        progress: Progress,
    ) -> Reliefs:
        how, info = self.given.how, self.given.info
        return propose_reliefs(
            region,
            flat,
            sight=how.sight,
            kept=cover.reliefs,
            refused=refused,
            most=max(how.most_reliefs, len(cover.reliefs)),
            up=info.up,
            forward=info.forward,
            body=self.given.body.mesh,
            progress=progress,
        )


def _blank(piece: Piece, roll_mm: float, how: Fitting) -> BlankOrFitted:
    """A bulk rectangle beside the piece; cutting is counted by weeding alone."""
    pace = how.pace or Pace()
    pattern = piece.pattern
    minutes = (
        pace.weed_per_piece
        + len(pattern.cut_outs) * pace.weed_per_cut_out
        + _cut_mm(pattern) / 1e3 * pace.weed_per_m
    )
    return blank_or_fitted(
        piece.flat,
        piece.region,
        pattern,
        roll_mm=roll_mm,
        fitted_min=minutes,
        keep_outs=piece.keep_outs,
        rates=how.blank_rates,
    )


def _cut_mm(pattern: Pattern) -> float:
    return sum(curve_length_mm(curve) for curve in (pattern.outline, *pattern.cut_outs))
