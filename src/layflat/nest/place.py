"""Laying pieces out: the whole way from requests to a checked layout."""

from collections.abc import Callable, Sequence

from layflat.base import FitError, InputError, Progress, silent
from layflat.nest.bound import lower_bound_mm
from layflat.nest.check import check_layout
from layflat.nest.cut_order import cut_order
from layflat.nest.faults import fault_notes, windows_of
from layflat.nest.known import known_packs
from layflat.nest.layout import Layout, Placement, Request, Section, Stock
from layflat.nest.pack import Pack
from layflat.nest.parts import make_frame, make_parts
from layflat.nest.pinned import Pinned
from layflat.nest.search import Search

_MAX_SECONDS = 86_400.0
_MAX_SEED = (1 << 31) - 1


def place(
    requests: Sequence[Request],
    stock: Stock,
    *,
    gap_mm: float,
    seconds: float,
    seed: int,
    max_section_mm: float | None = None,
    keep_when_stopped: bool = False,
    known: Sequence[Layout] = (),
    pinned: Sequence[Placement] = (),
    progress: Progress = silent,
    watch: Callable[[Layout], None] | None = None,
) -> Layout:
    """A short layout of the pieces on the stock, checked by independent geometry.

    The search ends with its time budget, so that the same seed need not give the same layout
    twice: keep layouts, do not compute them again.

    Args:
        requests: what to lay out.
        stock: on what; x runs along the roll.
        gap_mm: least distance between pieces, 0 or more.
        seconds: time budget of the search; above 0. A stop comes at once, an end by the budget
            within some hundredths of a second. It ends before with a layout as short as the
            lower bound, unless pieces are pinned.
        seed: of the search, 0 to 2^31 - 1.
        max_section_mm: longest section, its end margins included; None is one section.
        keep_when_stopped: whether a stop ends the search with the best layout until then, which
            says so in its notes, rather than passing the stop on.
        known: layouts of some of these pieces (the same patterns) with the same gap on film of the
            same width and margins. Their sections are used again where that is shorter.
        pinned: pieces that stay exactly where they are along and across the roll, at their turn;
            they are some of those that are asked for. The search goes on around them (see
            `layflat.nest.around`), and sections that hold one keep their start. Of *known* those
            count that hold all of them, all pieces, and can be cut; the result is no longer.
        progress: told the present length and yield beside the lower bound, many times a second.
        watch: told of each layout that is shorter than the one before, the first at once, some
            times a second at most. Its pieces keep their gaps and margins, though they may yet be
            pushed closer; it may be longer than the roll. What *watch* raises ends the search.

    Returns:
        The layout; no longer than the plain one in stacks.

    Raises:
        InputError: a value is out of range, an outline is not sound, or what is pinned was not
            asked for or cannot be cut like this.
        FitError: pieces are too large (the message names all of them and by how much), or the
            roll is too short (it says how much is missing).
        CheckError: the layout failed its check; nothing that fails is handed out.
        StoppedError: *progress* raised it; no process is left behind.
    """
    if not 0 < seconds <= _MAX_SECONDS:
        raise InputError(
            f"The time budget is {seconds:g} s; it must be above 0 and at most {_MAX_SECONDS:g}."
        )
    if not 0 <= seed <= _MAX_SEED:
        raise InputError(f"The seed is {seed}; it must be from 0 to {_MAX_SEED}.")
    frame = make_frame(stock, gap_mm=gap_mm, max_section_mm=max_section_mm)
    windows = windows_of(stock)
    parts = make_parts(requests, frame)
    bound = lower_bound_mm(parts, frame, end_margin_mm=stock.end_margin_mm, windows=windows)
    _refuse_short_roll(stock, bound, what="even the best layout needs")
    area = sum(part.area_mm2 * part.request.copies for part in parts)
    ends = 2 * stock.end_margin_mm
    spacing = max(0.0, gap_mm - ends)

    def describe(length_mm: float) -> str:
        return (
            f"laying out: {length_mm:.0f} mm, yield {area / (length_mm * stock.width_mm):.1%}, "
            f"no less than {bound:.0f} mm possible"
        )

    def made(
        placed: tuple[tuple[Section, ...], tuple[Placement, ...]], notes: Sequence[str] = ()
    ) -> Layout:
        sections, placements = placed
        return Layout(
            stock=stock,
            gap_mm=gap_mm,
            placements=placements,
            sections=sections,
            length_mm=sections[-1].end_mm,
            piece_area_mm2=area,
            lower_bound_mm=bound,
            seed=seed,
            seconds=seconds,
            requests=tuple(requests),
            notes=(*notes, *fault_notes(stock, sections[-1].end_mm)),
        )

    def layout_of(packs: Sequence[Pack], notes: Sequence[str] = ()) -> Layout:
        return made(cut_order(packs, parts, stock, windows, spacing_mm=spacing), notes)

    if pinned:
        around = Pinned(
            parts=parts,
            frame=frame,
            windows=windows,
            stock=stock,
            gap_mm=gap_mm,
            max_section_mm=max_section_mm,
            pinned=tuple(pinned),
        )
        placed, notes = around.search(
            known,
            seconds=seconds,
            seed=seed,
            progress=progress,
            describe=describe,
            keep_when_stopped=keep_when_stopped,
            watch=None if watch is None else lambda found: watch(made(found)),
        )
        return _refused_or(made(placed, notes))
    search = Search(
        parts=parts,
        frame=frame,
        extra_mm=ends + spacing,
        windows=windows,
        seconds=seconds,
        seed=seed,
        progress=progress,
        describe=describe,
        keep_when_stopped=keep_when_stopped,
        watch=None if watch is None else lambda packs: watch(layout_of(packs)),
        known=known_packs(known, parts, stock),
        least_mm=bound,
    )
    packs = search.run()
    layout = _refused_or(layout_of(packs, search.notes))
    if not search.was_stopped:
        progress(describe(layout.length_mm), 1.0)
    return layout


def _refused_or(layout: Layout) -> Layout:
    check_layout(layout)
    _refuse_short_roll(layout.stock, layout.length_mm, what="the best layout that was found needs")
    return layout


def _refuse_short_roll(stock: Stock, length_mm: float, *, what: str) -> None:
    if stock.length_mm is not None and length_mm > stock.length_mm:
        raise FitError(
            f"The roll has {stock.length_mm:.0f} mm left, {what} {length_mm:.0f} mm: "
            f"{length_mm - stock.length_mm:.0f} mm are missing. "
            "Take another roll, or lay fewer pieces on this one."
        )
