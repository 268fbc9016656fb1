"""A job's papers: what stands on them, from the results of the job."""

from decimal import Decimal

from layflat.base import Progress, silent
from layflat.job.laying import laying_advice, laying_order, leave_free, order_sentence
from layflat.job.order import Order
from layflat.job.pieces import Piece, covered_words
from layflat.job.places import place_picture
from layflat.nest import Layout
from layflat.papers import (
    FitSheet,
    Head,
    LayingPiece,
    LayingSheet,
    PriceRow,
    PriceSheet,
    WeedingSheet,
    fit_report,
    laying_sheet,
    make_stage,
    panel_title,
    price_sheet,
    summarise,
    weeding_map,
)
from layflat.plan import (
    ROUNDING,
    Minutes,
    Price,
    Rates,
    film_metres,
    price,
)
from layflat.surface import Mesh

SKY_DIRECTIONS = 8
"""Directions to the sky: enough for small pictures, and the body is the same in all."""


def head_of(order: Order) -> Head:
    """What stands on every sheet of the job."""
    return Head(
        workshop=order.workshop,
        job=order.name,
        number=order.number,
        vehicle=order.vehicle,
        customer=order.customer,
        dated=order.dated,
    )


def price_of(order: Order, layout: Layout, minutes: Minutes) -> Price:
    """The price of the job from its layout and its minutes."""
    rates = Rates.from_numbers(
        currency=order.price.currency,
        film_per_metre=order.price.film_per_metre,
        per_hour=order.price.rate_per_hour,
        consumables=order.price.consumables,
        tax=order.price.tax_rate,
    )
    return price(metres=film_metres(layout), minutes=minutes, rates=rates)


def make_papers(
    order: Order,
    mesh: Mesh,
    pieces: tuple[Piece, ...],
    layout: Layout,
    cost: Price,
    *,
    notes: tuple[str, ...] = (),
    progress: Progress = silent,
) -> dict[str, bytes]:
    """The job's papers as PDF, by file name; *notes* of the cut go on the map of who weeds."""
    head = head_of(order)
    film = pieces[0].flat.film.name
    lot = order.layout.lot
    papers = {
        "price.pdf": price_sheet(_price_sheet(head, pieces, cost)),
        "piece-map.pdf": weeding_map(
            WeedingSheet(
                head=head, layout=layout, film=film, lot=lot, warnings=(*layout.notes, *notes)
            )
        ),
    }
    numbers = {item.pattern.name: item.number for item in reversed(layout.placements)}
    laying = {}
    stage = make_stage(mesh, sky_directions=SKY_DIRECTIONS)
    for i, piece in enumerate(pieces):
        progress(f"fit report of {piece.name}", i / (len(pieces) + 1))
        place = place_picture(stage, piece)
        advice = tuple(laying_advice(piece))
        papers[f"fit-{piece.name}.pdf"] = fit_report(
            FitSheet(
                head=head,
                piece=panel_title(piece.name),
                flat=piece.flat,
                pattern=piece.pattern,
                region=piece.region,
                place=place,
                free=piece.keep_outs,
                laying=advice,
                warnings=piece.notes,
            )
        )
        laying[piece.name] = LayingPiece(
            number=numbers[piece.name],
            name=panel_title(piece.name),
            pattern=piece.pattern,
            effort=summarise(piece.flat).effort,
            place=place,
            advice=(*advice, *leave_free(piece)),
        )
    progress("laying sheet", len(pieces) / (len(pieces) + 1))
    papers["laying.pdf"] = laying_sheet(
        LayingSheet(
            head=head,
            film=film,
            pieces=tuple(laying[name] for name in laying_order(pieces)),
            order=order_sentence(pieces),
        )
    )
    return papers


def _price_sheet(head: Head, pieces: tuple[Piece, ...], cost: Price) -> PriceSheet:
    rates = cost.rates
    return PriceSheet(
        head=head,
        currency=rates.currency,
        rows=tuple(
            PriceRow(
                text=line.text,
                quantity=f"{line.quantity} {line.unit}" if line.unit else "",
                rate=_rate(line.unit, line.rate, rates),
                amount=line.amount,
                assumed=line.assumed,
            )
            for line in cost.lines
        ),
        net=cost.net,
        tax=cost.tax,
        gross=cost.gross,
        tax_rate=rates.tax,
        covered=tuple((panel_title(piece.name), covered_words(piece)) for piece in pieces),
        free=tuple(
            (
                panel_title(piece.name),
                "; ".join(item.name or item.kind.value for item in piece.keep_outs),
            )
            for piece in pieces
            if piece.keep_outs
        ),
        notes=(ROUNDING,),
    )


def _rate(unit: str, rate: Decimal, rates: Rates) -> str:
    # A shop may charge fractions of its smallest coin per metre; those stay to be seen.
    given = max(0, -int(rate.normalize().as_tuple().exponent))
    written = f"{rate:.{max(given, rates.decimals)}f}"
    return {"m": f"{written} per m", "min": f"{written} per hour"}.get(unit, "")
