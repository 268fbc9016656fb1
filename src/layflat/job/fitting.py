"""How a whole front fits: for every panel its film, fingers, and what to do where it does not fit.

Each step is kept by what it was computed from (see `layflat.base.Kept`): after a small change only
what depends on it is computed again, with the same result as if all were.
"""

import tempfile
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np

from layflat.base import Kept, LayflatError, Progress, part_of, silent
from layflat.film import Film
from layflat.fit import Pair, compare_pair
from layflat.job.fitting_panel import FittedPanel, Fitting, PanelSteps, WorkBody, WorkGiven
from layflat.job.order import Cover, FilmOrder
from layflat.job.pieces import known_panel
from layflat.job.processes import each
from layflat.surface import BodyInfo, Mesh, Panel

_SIDES: Final = ("left", "right")


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
        given = WorkGiven(order, WorkBody(mesh), info, film, how, folder)
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
            PanelSteps(given, cover, panels[i], store)
            for i, cover in enumerate(order.covers)
            if i not in failed
        ]
        fitted = [part for panel in whole for part in panel.fitted()]
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


@dataclass(frozen=True)
class _Warmed:
    """What the work on one panel did: steps computed, by name, and notes."""

    made: dict[str, int]
    notes: tuple[str, ...]


def _warm(given: WorkGiven, cover: Cover, progress: Progress) -> _Warmed:
    """See that all steps of a panel are kept."""
    store = Kept(given.folder)
    PanelSteps(given, cover, known_panel(given.info, cover), store).fitted(progress)
    return _Warmed(store.made, tuple(store.notes))


def _is_kept(given: WorkGiven, cover: Cover, there: Kept) -> bool:
    """Whether all steps of a panel are kept from before."""
    try:
        PanelSteps(given, cover, known_panel(given.info, cover), there).fitted()
    except LookupError:
        return False
    return True


def _is_done(end: _Warmed | LayflatError) -> bool:
    return isinstance(end, _Warmed)


def _pairs(whole: Sequence[PanelSteps], store: Kept, progress: Progress) -> tuple[Pair, ...]:
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

    left: PanelSteps
    right: PanelSteps

    def __call__(self) -> Pair:
        names = (self.left.panel.name, self.right.panel.name)
        return compare_pair(self.left.region(), self.right.region(), names=names)


def _size_mm(panel: Panel) -> float:
    """How large a panel is, so that the largest is begun first."""
    points = np.concatenate([edge.points_mm for edge in panel.outline])
    return float(np.linalg.norm(np.ptp(points, axis=0)))
