"""How a whole front fits: for every panel its film, fingers, and what to do where it does not fit.

Each step is kept by what it was computed from (see `layflat.base.Kept`): after a small change only
what depends on it is computed again, with the same result as if all were.
"""

import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Final

import numpy as np

from layflat.base import (
    FloatArray,
    Kept,
    LayflatError,
    MeshError,
    Progress,
    digest,
    part_of,
    silent,
)
from layflat.film import Film, Flat, flatten, overlaps
from layflat.fit import (
    BlankOrFitted,
    BlankRates,
    Fingers,
    Judged,
    Pair,
    PiecePlan,
    Reliefs,
    Sight,
    blank_or_fitted,
    compare_pair,
    cut_relief,
    find_fingers,
    judge,
    plan_piece,
    propose_reliefs,
)
from layflat.job.order import Cover, FilmOrder
from layflat.job.pieces import Piece, finish_piece, known_panel, whole_region
from layflat.job.processes import each
from layflat.pattern import Pattern, curve_length_mm
from layflat.plan import Pace
from layflat.surface import BodyInfo, Mesh, Panel, Prepared, Region, prepare

MOST_RELIEFS: Final = 6
_SIDES: Final = ("left", "right")


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """How proposals are made.

    Attributes:
        sight: how well places of the car are seen.
        refused_reliefs: paths that a person refused, by panel: none is proposed near them.
        most_reliefs: no more reliefs on a panel than this.
        blank_rates: what a blank takes, or None for its assumptions.
        pace: minutes of one person, or None for the assumptions of this program.
    """

    sight: Sight = field(default_factory=Sight)
    refused_reliefs: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    most_reliefs: int = MOST_RELIEFS
    blank_rates: BlankRates | None = None
    pace: Pace | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class FittedPanel:
    """One panel with all that is to be known of how film fits it.

    Attributes:
        piece: as it is ordered, with the reliefs that were accepted.
        fingers: where that piece fingers.
        judged: what laying it asks of the film.
        reliefs: further cuts that would help, each with its gain.
        blank: a bulk rectangle beside the pattern.
        plan: how the piece is laid.
    """

    piece: Piece
    fingers: Fingers
    judged: Judged
    reliefs: Reliefs
    blank: BlankOrFitted
    plan: PiecePlan

    @property
    def name(self) -> str:
        """The panel's."""
        return self.piece.name


@dataclass(frozen=True, eq=False, kw_only=True)
class Front:
    """All panels of a job.

    Attributes:
        panels: in the order of the covers, without those that failed.
        pairs: left and right panels beside each other.
        failed: panels for which there is nothing, and why.
        made: how many steps were computed, by their names; the others were kept.
        notes: on kept results that were damaged or could not be written.
    """

    panels: tuple[FittedPanel, ...]
    pairs: tuple[Pair, ...]
    failed: tuple[tuple[str, str], ...]
    made: Mapping[str, int]
    notes: tuple[str, ...]


def fit_front(
    order: FilmOrder,
    mesh: Mesh,
    info: BodyInfo,
    *,
    film: Film,
    how: Fitting | None = None,
    kept: Path | None = None,
    workers: int = 2,
    progress: Progress = silent,
) -> Front:
    """How the film of *order* fits, with all proposals.

    Args:
        order: what is covered.
        mesh: the body, mended.
        info: its panels.
        film: what is laid.
        how: how proposals are made.
        kept: a folder for results of steps, shared by runs, or None to keep none.
        workers: processes that work at once.
        progress: told each step; raise `StoppedError` from it to stop. What was computed until
            then is kept.

    Raises:
        SettingError: a panel, an edge or a keep-out that the order names is not there.
        OutputError: the folder of kept results cannot be used.
    """
    how = how or Fitting()
    panels = [known_panel(info, cover) for cover in order.covers]
    with ExitStack() as stack:
        # The processes hand their results on through a folder, so there always is one.
        folder = kept or Path(stack.enter_context(tempfile.TemporaryDirectory()))
        given = _Given(order, _Body(mesh), info, film, how, folder)
        there = Kept(folder, computes=False)
        new = [i for i, cover in enumerate(order.covers) if not _is_kept(given, cover, there)]
        new.sort(key=lambda i: -_size_mm(panels[i]))
        ended = each(
            _warm,
            given,
            [order.covers[i] for i in new],
            names=[panels[i].name for i in new],
            workers=workers,
            progress=part_of(progress, start=0.0, end=0.9),
        )
        failed = {i: str(end) for i, end in zip(new, ended, strict=True) if not _is_done(end)}
        store = Kept(folder)
        whole = [
            _Panel(given, cover, panels[i], store)
            for i, cover in enumerate(order.covers)
            if i not in failed
        ]
        fitted = [panel.fitted() for panel in whole]
        pairs = _pairs(whole, store, part_of(progress, start=0.9, end=1.0))
        warmed = [end for end in ended if isinstance(end, _Warmed)]
        progress("done", 1.0)
    return Front(
        panels=tuple(fitted),
        pairs=pairs,
        failed=tuple((panels[i].name, failed[i]) for i in sorted(failed)),
        made=dict(sum((Counter(end.made) for end in warmed), Counter(store.made))),
        notes=tuple(
            dict.fromkeys(
                (*there.notes, *(note for end in warmed for note in end.notes), *store.notes)
            )
        ),
    )


class _Body:
    """The body, prepared for cutting once that is needed."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.key = digest(mesh)

    @cached_property
    def prepared(self) -> Prepared:
        """For cutting panels out of it."""
        return prepare(self.mesh)


@dataclass(frozen=True, eq=False)
class _Given:
    """What the work on every panel needs."""

    order: FilmOrder
    body: _Body
    info: BodyInfo
    film: Film
    how: Fitting
    folder: Path


@dataclass(frozen=True)
class _Warmed:
    """What the work on one panel did: steps computed, by name, and notes."""

    made: dict[str, int]
    notes: tuple[str, ...]


def _warm(given: _Given, cover: Cover, progress: Progress) -> _Warmed:
    """See that all steps of a panel are kept."""
    store = Kept(given.folder)
    _Panel(given, cover, known_panel(given.info, cover), store).fitted(progress)
    return _Warmed(store.made, tuple(store.notes))


def _is_kept(given: _Given, cover: Cover, there: Kept) -> bool:
    """Whether all steps of a panel are kept from before."""
    try:
        _Panel(given, cover, known_panel(given.info, cover), there).fitted()
    except LookupError:
        return False
    return True


def _is_done(end: _Warmed | LayflatError) -> bool:
    return isinstance(end, _Warmed)


class _Panel:
    """The steps of one panel, each with the key of all that it depends on."""

    def __init__(self, given: _Given, cover: Cover, panel: Panel, store: Kept) -> None:
        self.given, self.cover, self.panel, self.store = given, cover, panel, store
        info = given.info
        self.seen = (info.up, info.forward)
        self.region_key = (
            given.body.key,
            replace(panel, keep_outs=()),
            cover.line_mm,
            cover.keep_mm,
        )

    def fitted(self, progress: Progress = silent) -> FittedPanel:
        """All of it."""
        given, cover = self.given, self.cover
        progress("cutting it out", 0.0)
        region = self.region()
        whole_key = digest(self.region_key, given.film, given.order.finger_aversion)
        told = part_of(progress, start=0.1, end=0.3)
        whole = self.store.get("flat", (whole_key,), lambda: self._flat(region, told))
        opened, flat, flat_key = region, whole, whole_key
        if cover.reliefs:
            flat_key = digest(whole_key, cover.reliefs)
            opened, flat = self.store.get(
                "opened", (flat_key,), lambda: self._opened(region, progress)
            )
        progress("looking for fingers", 0.3)
        fingers = self.store.get("fingers", (flat_key,), lambda: find_fingers(flat))
        progress("drawing the pattern", 0.4)
        piece_key = (flat_key, given.order.finishes, cover, self.panel)
        piece = self.store.get(
            "piece",
            piece_key,
            lambda: finish_piece(given.order, cover, self.panel, opened, flat, given.body.prepared),
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
        told = part_of(progress, start=0.6, end=1.0)
        reliefs = self.store.get(
            "reliefs", relief_key, lambda: self._reliefs(region, whole, refused, told)
        )
        return FittedPanel(
            piece=piece,
            fingers=fingers,
            judged=judge(flat, fingers=(fingers,)),
            reliefs=reliefs,
            blank=blank,
            plan=plan,
        )

    def region(self) -> Region:
        """The surface that is covered, without reliefs."""
        return self.store.get(
            "region",
            self.region_key,
            lambda: whole_region(self.cover, self.panel, self.given.body.prepared),
        )

    def _flat(self, region: Region, progress: Progress) -> Flat:
        given = self.given
        flat = flatten(
            region.mesh,
            given.film,
            finger_aversion=given.order.finger_aversion,
            progress=progress,
        )
        if overlaps(flat) and not self.cover.reliefs:
            raise MeshError(
                f"The panel “{self.panel.name}” cannot be one piece: its flat shape overlaps "
                "itself. Cover it with two."
            )
        return flat

    def _opened(self, region: Region, progress: Progress) -> tuple[Region, Flat]:
        for path in self.cover.reliefs:
            region = cut_relief(region, path)
        return region, self._flat(region, progress)

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
        self, region: Region, flat: Flat, refused: tuple[FloatArray, ...], progress: Progress
    ) -> Reliefs:
        how, info = self.given.how, self.given.info
        return propose_reliefs(
            region,
            flat,
            sight=how.sight,
            kept=self.cover.reliefs,
            refused=refused,
            most=max(how.most_reliefs, len(self.cover.reliefs)),
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


def _pairs(whole: Sequence[_Panel], store: Kept, progress: Progress) -> tuple[Pair, ...]:
    """Panels that differ in their names by their side alone, compared."""
    named = {each_.panel.name: each_ for each_ in whole}
    left, right = _SIDES
    both = [
        (one, named[name.replace(left, right)])
        for name, one in named.items()
        if left in name and name.replace(left, right) in named
    ]
    found = []
    for number, (one, other) in enumerate(both):
        progress(f"comparing {one.panel.name} and {other.panel.name}", number / len(both))
        found.append(store.get("pair", (one.region_key, other.region_key), _Compared(one, other)))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Compared:
    """A comparison that is still to be made."""

    left: _Panel
    right: _Panel

    def __call__(self) -> Pair:
        names = (self.left.panel.name, self.right.panel.name)
        return compare_pair(self.left.region(), self.right.region(), names=names)


def _size_mm(panel: Panel) -> float:
    """How large a panel is, so that the largest is begun first."""
    points = np.concatenate([edge.points_mm for edge in panel.outline])
    return float(np.linalg.norm(np.ptp(points, axis=0)))
