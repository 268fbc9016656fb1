"""The tab "Fit" of a job's page in the bay: laid pieces to tap, and what was noted on them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from layflat.base import InputError
from layflat.web.inspection.flat_map import FlatMap, flat_map_of
from layflat.web.jobs.models import Job
from layflat.web.laying.film_on_car import Film, in_bay
from layflat.web.noting.doing import in_short
from layflat.web.noting.kinds import KINDS
from layflat.web.noting.models import FitNote
from layflat.web.noting.spots import drawn_at
from layflat.web.people.models import Person

_PEN_SHARE = 1 / 420
"""How many map units one unit of a mark is, as a share of the map's width."""


@dataclass(frozen=True, kw_only=True)
class Mark:
    """A fit note on a map: its number, and the place that is meant, in the map's units."""

    number: int
    x: float
    y: float


@dataclass(frozen=True, kw_only=True)
class Row:
    """A piece that is on the car.

    Attributes:
        film: piece and film.
        map: its flat picture, or None where it has none to tap.
        marks: the notes that count.
        pen: units of the map for one of a mark.
    """

    film: Film
    map: FlatMap | None
    marks: tuple[Mark, ...]
    pen: float

    @property
    def to_map(self) -> str:
        """The map's six numbers, for the script."""
        return " ".join(f"{value!r}" for value in self.map.to_map) if self.map else ""


@dataclass(frozen=True, kw_only=True)
class NoteRow:
    """A fit note as its line says it."""

    note: FitNote
    says: str


def read(job: Job, who: Person) -> dict[str, Any]:
    """What the tab shows, by its names in "noting/bay_tab.html"; one query of its own."""
    del who  # everybody in the shop sees and notes the same
    try:
        shared = in_bay(job)
    except InputError as error:
        return {"fit_missing": str(error)}
    notes = list(job.fit_notes.select_related("cut__piece__pattern", "noted_by"))
    rows = [_row(film, notes) for film in shared.film.pieces if film.is_laid and film.cut]
    return {
        "fit_rows": rows,
        "fit_notes": [_note_row(one) for one in notes if one.withdrawn_at is None],
        "fit_back": [_note_row(one) for one in notes if one.withdrawn_at is not None],
        "fit_kinds": KINDS,
        "fit_body": job.vehicle.body.body_id if job.vehicle.body_id and job.vehicle.body else None,
    }


def _note_row(one: FitNote) -> NoteRow:
    return NoteRow(note=one, says=in_short(one))


def _row(film: Film, notes: Sequence[FitNote]) -> Row:
    flat = flat_map_of(film.piece)
    marks = []
    for one in notes:
        if flat and film.cut and one.cut_id == film.cut.pk and one.withdrawn_at is None:
            x, y = flat.at(*drawn_at(one))
            marks.append(Mark(number=one.number, x=round(x, 1), y=round(y, 1)))
    pen = round(max(flat.width, flat.height * 1.6) * _PEN_SHARE, 4) if flat else 1.0
    return Row(film=film, map=flat, marks=tuple(marks), pen=pen)
