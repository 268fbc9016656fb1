"""Papers of a kept layout: labels for its pieces and the weeding map."""

import datetime

from layflat.papers import (
    Head,
    LengthUnit,
    Paper,
    PieceLabel,
    PieceLabels,
    WeedingSheet,
    panel_title,
    piece_labels,
    weeding_map,
)
from layflat.web.cutting.models import Cut, Layout, Member, apart, called
from layflat.web.cutting.patterns import read_patterns
from layflat.web.cutting.sharing import members_of, pattern_files_of
from layflat.web.cutting.stored import layout_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time


def labels_pdf(layout: Layout, job: Job, shop: Shop) -> bytes:
    """A label for each piece of a kept layout that is not lost, to be cut from plain paper."""
    cuts = Cut.objects.filter(section__layout=layout).exclude(state=Cut.State.LOST)
    jobs = {
        one.letter: " · ".join(filter(None, (one.job.number, one.job.vehicle.plate)))
        for one in _members(layout)
    }
    labels = tuple(
        PieceLabel(
            number=cut.number,
            panel=panel_title(cut.piece.panel),
            attempt=cut.attempt,
            section=cut.section.number,
            letter=cut.letter,
            job=jobs.get(cut.letter, ""),
        )
        for cut in cuts.select_related("piece", "section").order_by(
            "section__number", "letter", "number"
        )
    )
    return piece_labels(
        PieceLabels(
            head=_head(layout, job, shop),
            plate=job.vehicle.plate,
            lot=layout.roll.lot,
            roll=str(layout.roll),
            film=layout.roll.film,
            labels=labels,
        )
    )


def map_pdf(layout: Layout, job: Job, shop: Shop) -> bytes:
    """The weeding map of a kept layout.

    Raises:
        InputError: the layout is not kept, or a pattern's file is gone.
    """
    found = layout_of(layout.found or {}, read_patterns(pattern_files_of(layout)))
    members = _members(layout)
    numbers = {one.letter: one.job.number for one in members}
    left = [one for one in members if one.left_because]
    return weeding_map(
        WeedingSheet(
            head=_head(layout, job, shop),
            layout=found,
            film=layout.roll.film,
            lot=layout.roll.lot,
            # How long was searched matters to nobody who weeds.
            warnings=(
                *(f"Pieces {one.letter} are for nobody: {one.left_because}." for one in left),
                *(note for note in layout.notes if note not in found.notes),
            ),
            called={number: called(number) for number in layout.pieces},
            whose={number: numbers[apart(number)[0]] for number in layout.pieces if members},
            jobs=("; ".join(_job_words(one) for one in members),) if members else (),
        )
    )


def _members(layout: Layout) -> list[Member]:
    return members_of(layout, "job__vehicle__body__body")


def _job_words(member: Member) -> str:
    """One of the jobs: "A 2031-0042, LY 4 SKW"."""
    vehicle = member.job.vehicle
    return f"{member.letter} {member.job.number}, {vehicle.plate or _vehicle(member.job)}"


def _head(layout: Layout, job: Job, shop: Shop) -> Head:
    shared = ", shared by jobs" if layout.is_shared else ""
    return Head(
        workshop=shop.name,
        job=f"Film, layout {layout.number}{shared}",
        number=job.number,
        vehicle="of several jobs" if layout.is_shared else _vehicle(job),
        dated=_day(layout.made_at, shop),
        paper=Paper.LETTER if shop.inches else Paper.A4,
        unit=LengthUnit.INCH if shop.inches else LengthUnit.MM,
    )


def _vehicle(job: Job) -> str:
    vehicle = job.vehicle
    words = (str(vehicle.body.body) if vehicle.body else "", vehicle.plate)
    return " ".join(filter(None, words)) or vehicle.described


def _day(moment: datetime.datetime, shop: Shop) -> datetime.date:
    return shop_time(moment, shop).date()
