"""A week of the invented shop's year, section by section, from stored places.

The jobs are those of `bench.year`; the plan was searched once and its places are kept.
"""

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from figures.svg import CHALK, INK, LINE, PENCIL, VERMILLION, Picture
from layflat.base import FloatArray, write_text
from layflat.nest import Layout, Placement, Section, Stock, check_layout
from layflat.pattern import pattern_area_mm2, place, to_polygon

sys.path.insert(0, str(Path(__file__).parents[2]))

from bench._year_jobs import Job, year
from bench.year import GAP_MM, JOBS_A_WEEK, RATES, Shelf, planned

PLACES = Path(__file__).parent / "week-places.json"
_SCALE = 1 / 40
_WIDTH, _EVERY_X, _EVERY_Y, _TOP, _LEFT = 240.0, 79.0, 50.0, 16.0, 3.0
_ROW = 3
_FILLS = (
    (CHALK, 0.45),
    (VERMILLION, 0.40),
    (PENCIL, 0.45),
    (LINE, 0.45),
    (CHALK, 0.12),
)
"""Of each job; its letter stands on every piece, too."""
_SMALLEST_MM = 120.0
"""Narrower pieces have no room for a letter."""


@dataclass(frozen=True)
class _Lain:
    """A section to draw: whose piece each is, with its layout."""

    roll: str
    number: int
    layout: Layout
    jobs: tuple[int, ...]


def week_picture() -> str:
    """The stored plan, checked as any other, and drawn section by section.

    Raises:
        CheckError: the pieces have changed and do not lie as stored any more; search anew.
    """
    jobs = _week()
    lain = [
        _Lain(roll, number, layout, owners)
        for roll, layout, owners in _stored(jobs)
        for number in range(len(layout.sections))
    ]
    rows = -(-len(lain) // _ROW)
    picture = Picture(_WIDTH, _TOP + rows * _EVERY_Y)
    for at, job in enumerate(jobs):
        x = _LEFT + 47.0 * at
        fill, see = _FILLS[at]
        picture.shape([_box(x, 4.0, 6.0, 5.0)], fill=fill, opacity=see, pen=INK)
        picture.words(x + 8.0, 8.4, f"{_letter(at)}: job {job.number}")
    for place_at, one in enumerate(lain):
        x = _LEFT + _EVERY_X * (place_at % _ROW)
        _draw(picture, one, np.array([x, _TOP + _EVERY_Y * (place_at // _ROW)]))
    return picture.svg()


def search_week_anew(*, seconds: float) -> None:
    """Plan the week and store where its pieces lie."""
    jobs = _week()
    shelf = Shelf()
    shelf.restock()
    plan = planned(jobs, [], shelf.supplies, seconds, 1, RATES)
    requests = {
        (job.number, request.pattern.name, request.mirrored): [at, index]
        for at, job in enumerate(jobs)
        for index, request in enumerate(job.requests)
    }
    rolls = [
        {
            "roll": use.supply.name,
            "width_mm": use.supply.stock.width_mm,
            "length_mm": round(use.layout.length_mm + 0.005, 2),
            "sections_mm": [[one.start_mm, one.end_mm] for one in use.layout.sections],
            "pieces": [
                [
                    *requests[job, one.pattern.name, one.mirrored],
                    one.section,
                    one.turn_deg,
                    round(one.x_mm, 3),
                    round(one.y_mm, 3),
                ]
                for one, job in zip(use.layout.placements, use.jobs, strict=True)
            ],
        }
        for use in plan.uses
    ]
    write_text(PLACES, json.dumps(rolls) + "\n")


def _week() -> list[Job]:
    """The year's first week."""
    return year(JOBS_A_WEEK, seed=1)


def _stored(jobs: Sequence[Job]) -> list[tuple[str, Layout, tuple[int, ...]]]:
    found = []
    for roll in json.loads(PLACES.read_text(encoding="utf-8")):
        layout, owners = _layout(roll, jobs)
        check_layout(layout)
        found.append((roll["roll"], layout, owners))
    return found


def _layout(roll: dict[str, Any], jobs: Sequence[Job]) -> tuple[Layout, tuple[int, ...]]:
    placements: list[Placement] = []
    copies: dict[tuple[int, int], int] = {}
    for job, index, section, turn, x, y in roll["pieces"]:
        request = jobs[job].requests[index]
        copies[job, index] = copies.get((job, index), 0) + 1
        placements.append(
            Placement(
                pattern=request.pattern,
                number=len(placements) + 1,
                copy=copies[job, index],
                section=section,
                turn_deg=turn,
                mirrored=request.mirrored,
                x_mm=x,
                y_mm=y,
            )
        )
    layout = Layout(
        stock=Stock(width_mm=roll["width_mm"], edge_margin_mm=20.0),
        gap_mm=GAP_MM,
        placements=tuple(placements),
        sections=tuple(Section(start_mm=a, end_mm=b) for a, b in roll["sections_mm"]),
        length_mm=roll["length_mm"],
        piece_area_mm2=sum(pattern_area_mm2(one.pattern) for one in placements),
        lower_bound_mm=0.0,
        seed=1,
        seconds=0.0,
    )
    return layout, tuple(job for job, *_ in roll["pieces"])


def _draw(picture: Picture, one: _Lain, corner: FloatArray) -> None:
    section, width = one.layout.sections[one.number], one.layout.stock.width_mm
    length = section.end_mm - section.start_mm
    picture.shape(
        [_box(float(corner[0]), float(corner[1]), length * _SCALE, width * _SCALE)],
        pen=PENCIL,
        width=0.4,
    )
    area = 0.0
    for placement, job in zip(one.layout.placements, one.jobs, strict=True):
        if placement.section != one.number:
            continue
        area += pattern_area_mm2(placement.pattern)
        moved = place(
            placement.pattern,
            turn_deg=placement.turn_deg,
            x_mm=placement.x_mm,
            y_mm=placement.y_mm,
            mirrored=placement.mirrored,
        )
        polygon = to_polygon(moved, deviation_mm=2.0)
        shape = np.asarray(polygon.exterior.coords)[:-1] - [section.start_mm, width]
        fill, see = _FILLS[job]
        picture.shape([corner + shape * [_SCALE, -_SCALE]], fill=fill, opacity=see, pen=INK)
        x0, y0, x1, y1 = polygon.bounds
        if min(x1 - x0, y1 - y0) > _SMALLEST_MM:
            middle = np.array(polygon.representative_point().coords[0]) - [section.start_mm, width]
            x, y = corner + middle * [_SCALE, -_SCALE]
            picture.words(x, y + 1.2, _letter(job), size=3.6, anchor="middle", bold=True)
    used = area / (length * width)
    picture.words(
        corner[0],
        corner[1] + width * _SCALE + 4.6,
        f"{one.roll}, section {one.number + 1}: {length / 1e3:.2f} m, {used:.0%} in pieces",
        size=3.6,
    )


def _box(x: float, y: float, width: float, height: float) -> FloatArray:
    return np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]])


def _letter(job: int) -> str:
    return "ABCDE"[job]
