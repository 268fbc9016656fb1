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
from layflat.web.cutting.models import Cut, Layout
from layflat.web.cutting.patterns import pattern_files, read_patterns
from layflat.web.cutting.stored import layout_of
from layflat.web.jobs.models import Job
from layflat.web.people.models import Shop
from layflat.web.people.shop import shop_time


def labels_pdf(layout: Layout, job: Job, shop: Shop) -> bytes:
    """A label for each piece of a kept layout that is not lost, to be cut from plain paper."""
    cuts = Cut.objects.filter(section__layout=layout).exclude(state=Cut.State.LOST)
    labels = tuple(
        PieceLabel(
            number=cut.number,
            panel=panel_title(cut.piece.panel),
            attempt=cut.attempt,
            section=cut.section.number,
        )
        for cut in cuts.select_related("piece", "section").order_by("section__number", "number")
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
    pieces = layout.outcome.pieces.filter(number__in=layout.pieces).select_related("pattern")
    found = layout_of(layout.found or {}, read_patterns(pattern_files(pieces)))
    return weeding_map(
        WeedingSheet(
            head=_head(layout, job, shop),
            layout=found,
            film=layout.roll.film,
            lot=layout.roll.lot,
            # How long was searched matters to nobody who weeds.
            warnings=tuple(note for note in layout.notes if note not in found.notes),
        )
    )


def _head(layout: Layout, job: Job, shop: Shop) -> Head:
    vehicle = job.vehicle
    return Head(
        workshop=shop.name,
        job=f"Film, layout {layout.number}",
        number=job.number,
        vehicle=" ".join(
            filter(None, (str(vehicle.body.body) if vehicle.body else "", vehicle.plate))
        )
        or vehicle.described,
        dated=_day(layout.made_at, shop),
        paper=Paper.LETTER if shop.inches else Paper.A4,
        unit=LengthUnit.INCH if shop.inches else LengthUnit.MM,
    )


def _day(moment: datetime.datetime, shop: Shop) -> datetime.date:
    return shop_time(moment, shop).date()
