"""Laying pieces out: the whole way from requests to a checked layout."""

from collections.abc import Callable, Sequence

import numpy as np

from layflat.base import FitError, InputError, Progress, silent
from layflat.nest.bound import lower_bound_mm
from layflat.nest.check import check_layout
from layflat.nest.layout import Layout, Placement, Request, Section, Stock
from layflat.nest.pack import Pack
from layflat.nest.parts import Part, make_frame, make_parts
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
            within some hundredths of a second.
        seed: of the search, 0 to 2^31 - 1.
        max_section_mm: longest section, its end margins included; None is one section.
        keep_when_stopped: whether a stop ends the search with the best layout until then, which
            says so in its notes, rather than passing the stop on.
        progress: told the present length and yield beside the lower bound, many times a second.
        watch: told of each layout that is shorter than the one before, the first at once, some
            times a second at most. Its pieces keep their gaps and margins, though they may yet be
            pushed closer; it may be longer than the roll. What *watch* raises ends the search.

    Returns:
        The layout; no longer than the plain one in stacks.

    Raises:
        InputError: a value is out of range, or an outline is not sound.
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
    parts = make_parts(requests, frame)
    bound = lower_bound_mm(parts, frame, end_margin_mm=stock.end_margin_mm)
    _refuse_short_roll(stock, bound, what="even the best layout needs")
    area = sum(part.area_mm2 * part.request.copies for part in parts)
    ends = 2 * stock.end_margin_mm
    spacing = max(0.0, gap_mm - ends)

    def describe(length_mm: float) -> str:
        return (
            f"laying out: {length_mm:.0f} mm, yield {area / (length_mm * stock.width_mm):.1%}, "
            f"no less than {bound:.0f} mm possible"
        )

    def layout_of(packs: Sequence[Pack], notes: Sequence[str] = ()) -> Layout:
        sections, placements = _cut_order(packs, parts, stock, spacing_mm=spacing)
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
            notes=tuple(notes),
        )

    search = Search(
        parts=parts,
        frame=frame,
        extra_mm=ends + spacing,
        seconds=seconds,
        seed=seed,
        progress=progress,
        describe=describe,
        keep_when_stopped=keep_when_stopped,
        watch=None if watch is None else lambda packs: watch(layout_of(packs)),
    )
    packs = search.run()
    layout = layout_of(packs, search.notes)
    check_layout(layout)
    _refuse_short_roll(stock, layout.length_mm, what="the best layout that was found needs")
    if not search.was_stopped:
        progress(describe(layout.length_mm), 1.0)
    return layout


def _refuse_short_roll(stock: Stock, length_mm: float, *, what: str) -> None:
    if stock.length_mm is not None and length_mm > stock.length_mm:
        raise FitError(
            f"The roll has {stock.length_mm:.0f} mm left, {what} {length_mm:.0f} mm: "
            f"{length_mm - stock.length_mm:.0f} mm are missing. "
            "Take another roll, or lay fewer pieces on this one."
        )


def _cut_order(
    packs: Sequence[Pack], parts: Sequence[Part], stock: Stock, *, spacing_mm: float
) -> tuple[tuple[Section, ...], tuple[Placement, ...]]:
    """The packs as sections one after the other, the fullest first, their pieces along x.

    The last section is the one that leaves most of its width free: the rest of the roll there
    is the most use as an offcut.
    """

    def fullness(pack: Pack) -> float:
        area = sum(spot.part.area_mm2 for spot in pack.spots)
        return -area / pack.length_mm

    sections: list[Section] = []
    placements: list[Placement] = []
    copies = np.zeros(len(parts), dtype=int)
    start = 0.0
    for index, pack in enumerate(sorted(packs, key=fullness)):
        end = start + pack.length_mm + 2 * stock.end_margin_mm
        sections.append(Section(start_mm=start, end_mm=end))
        for spot in sorted(pack.spots, key=lambda spot: spot.box()[:2]):
            part = spot.part
            copies[part.index] += 1
            placements.append(
                Placement(
                    pattern=part.request.pattern,
                    number=len(placements) + 1,
                    copy=int(copies[part.index]),
                    section=index,
                    turn_deg=spot.turn_deg,
                    x_mm=spot.x_mm + start + stock.end_margin_mm,
                    y_mm=spot.y_mm + stock.edge_margin_mm,
                    mirrored=part.request.mirrored,
                )
            )
        start = end + spacing_mm
    return tuple(sections), tuple(placements)
