"""How a whole front fits: for every panel its film, fingers, and what to do where it does not fit.

Each step is kept by what it was computed from (see `layflat.base.Kept`): after a small change only
what depends on it is computed again, with the same result as if all were.
"""

import tempfile
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from layflat.base import Kept, LayflatError, Progress, part_of, silent
from layflat.film import Film
from layflat.fit import Pair
from layflat.job.fitting_panel import steps_of
from layflat.job.fitting_records import FittedPanel, Fitting, WorkBody, WorkGiven
from layflat.job.order import FilmOrder
from layflat.job.pieces import known_panel
from layflat.job.processes import each
from layflat.job.sides import side_pairs
from layflat.surface import BodyInfo, Mesh, Panel


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
        known = steps_of(given, there)
        sides = side_pairs([panel.name for panel in panels]) if order.share_sides else ()
        # What both sides of a pair rest on comes first, so that it is computed once.
        ended = list(
            _each_new(
                given,
                "prepare",
                [right for _, right in sides if not _is_kept(known[right].prepare)],
                workers=workers,
                progress=part_of(progress, start=0.0, end=0.2),
            ).values()
        )
        new = [i for i, steps in enumerate(known) if not _is_kept(steps.fitted)]
        new.sort(key=lambda i: -_size_mm(panels[i]))
        fits = _each_new(
            given, "fit", new, workers=workers, progress=part_of(progress, start=0.2, end=1.0)
        )
        ended += fits.values()
        failed = {i: str(end) for i, end in fits.items() if isinstance(end, LayflatError)}
        store = Kept(folder)
        steps = steps_of(given, store)
        fitted = [
            part for i, each_ in enumerate(steps) if i not in failed for part in each_.fitted()
        ]
        pairs = tuple(pair for left, _ in sides if (pair := steps[left].pair) is not None)
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


def _each_new(
    given: WorkGiven,
    what: str,
    numbers: Sequence[int],
    *,
    workers: int,
    progress: Progress,
) -> dict[int, _Warmed | LayflatError]:
    """What the work on each of some covers came to, by the covers' numbers."""
    ended = each(
        _warm,
        given,
        [(what, number) for number in numbers],
        names=[given.order.covers[number].panel for number in numbers],
        workers=workers,
        progress=progress,
    )
    return dict(zip(numbers, ended, strict=True))


def _warm(given: WorkGiven, task: tuple[str, int], progress: Progress) -> _Warmed:
    """See that what both sides of a pair rest on is kept, or all steps of a panel."""
    what, number = task
    store = Kept(given.folder)
    steps = steps_of(given, store)[number]
    if what == "prepare":
        steps.prepare(progress)
    else:
        steps.fitted(progress)
    return _Warmed(store.made, tuple(store.notes))


def _is_kept(step: Callable[[], object]) -> bool:
    """Whether all that *step* asks for is kept from before."""
    try:
        step()
    except (LookupError, LayflatError):
        # What cannot be done is said by whoever works on it.
        return False
    return True


def _size_mm(panel: Panel) -> float:
    """How large a panel is, so that the largest is begun first."""
    points = np.concatenate([edge.points_mm for edge in panel.outline])
    return float(np.linalg.norm(np.ptp(points, axis=0)))
