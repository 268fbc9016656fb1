"""A job's papers: what stands on them, from the results of the job."""

import math
from collections.abc import Iterator
from decimal import Decimal

import numpy as np
from PIL import Image

from layflat.base import FloatArray, Progress, silent
from layflat.cut import CutProgram
from layflat.job.order import Order
from layflat.job.pieces import Piece
from layflat.nest import Layout
from layflat.papers import (
    CLAY,
    VIEWS,
    FitSheet,
    Head,
    LayingPiece,
    LayingSheet,
    PriceRow,
    PriceSheet,
    View,
    WeedingSheet,
    fit_report,
    laying_sheet,
    panel_title,
    price_sheet,
    render,
    sky_openness,
    summarise,
    weeding_map,
)
from layflat.pattern import Finish, curve_length_mm, pattern_area_mm2
from layflat.plan import (
    ROUNDING,
    Minutes,
    PieceWork,
    Price,
    Rates,
    estimate_minutes,
    film_metres,
    price,
)
from layflat.surface import Mesh

_PLACE_PX = (900, 600)
_WHITE = (255, 255, 255)
_MARKED = (213, 94, 0)
_QUARTERS = ("front-left", "front-right", "rear-left", "rear-right")


def minutes_of(order: Order, pieces: tuple[Piece, ...], program: CutProgram) -> Minutes:
    """The time of each step of the job."""
    return estimate_minutes(
        tuple(_work(piece) for piece in pieces),
        cutting_s=program.seconds,
        given=order.price.minutes,
    )


def _work(piece: Piece) -> PieceWork:
    pattern = piece.pattern
    return PieceWork(
        name=piece.name,
        area_mm2=pattern_area_mm2(pattern),
        outline_mm=sum(curve_length_mm(curve) for curve in (pattern.outline, *pattern.cut_outs)),
        wrap_mm=sum(
            record.flat_length_mm for record in pattern.edges if record.finish.finish is Finish.WRAP
        ),
        cut_outs=len(pattern.cut_outs),
        strained_share=piece.summary.share_over_stretch_limit,
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
    progress: Progress = silent,
) -> dict[str, bytes]:
    """The job's papers as PDF, by file name."""
    head = Head(
        workshop=order.workshop,
        job=order.name,
        number=order.number,
        vehicle=order.vehicle,
        customer=order.customer,
        dated=order.dated,
    )
    film = pieces[0].flat.film.name
    lot = order.layout.lot
    papers = {
        "price.pdf": price_sheet(_price_sheet(head, pieces, cost)),
        "piece-map.pdf": weeding_map(
            WeedingSheet(head=head, layout=layout, film=film, lot=lot, warnings=layout.notes)
        ),
    }
    numbers = {item.pattern.name: item.number for item in reversed(layout.placements)}
    laying = []
    openness = sky_openness(mesh)
    for i, piece in enumerate(pieces):
        progress(f"fit report of {piece.name}", i / (len(pieces) + 1))
        place = place_picture(mesh, piece, openness=openness)
        advice = tuple(_advice(piece))
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
        laying.append(
            LayingPiece(
                number=numbers[piece.name],
                name=panel_title(piece.name),
                pattern=piece.pattern,
                effort=summarise(piece.flat).effort,
                place=place,
                advice=advice,
            )
        )
    progress("laying sheet", len(pieces) / (len(pieces) + 1))
    papers["laying.pdf"] = laying_sheet(
        LayingSheet(head=head, film=film, pieces=_laying_order(laying, pieces))
    )
    return papers


def _laying_order(laying: list[LayingPiece], pieces: tuple[Piece, ...]) -> tuple[LayingPiece, ...]:
    """From the middle of the car outwards, of two equally far out the larger first.

    Water runs down and out, so a panel is laid before those beside it (common practice, no
    source). Being astride the middle counts as being no way out.
    """

    def key(index: int) -> tuple[int, float, int]:
        covered = pieces[index].region.mesh
        across = covered.vertices_mm[:, 1]
        beside = 0 if across.min() < 0.0 < across.max() else 1
        # Whole square decimetres: mirrored panels keep the order in which they were ordered.
        return beside, -round(covered.area_mm2 / 1e4), index

    return tuple(laying[i] for i in sorted(range(len(pieces)), key=key))


def place_picture(mesh: Mesh, piece: Piece, *, openness: FloatArray | None = None) -> Image.Image:
    """The body with the piece's panel marked, from the quarter that shows most of it.

    The body's *openness* to the sky is the same for every piece; found once, it saves most of
    the time.
    """
    if openness is None:
        openness = sky_openness(mesh)
    covered = piece.region.mesh
    lifted = Mesh(
        np.vstack([mesh.vertices_mm, _lifted(covered)]),
        np.vstack([mesh.faces, covered.faces + len(mesh.vertices_mm)]),
    )
    colours = np.empty((len(lifted.faces), 3), np.uint8)
    colours[: len(mesh.faces)] = CLAY
    colours[len(mesh.faces) :] = _MARKED
    return render(
        lifted,
        view=best_view(covered),
        size_px=_PLACE_PX,
        face_colours=colours,
        openness=np.concatenate([openness, np.ones(len(covered.vertices_mm))]),
        paper=_WHITE,
    )


def _lifted(mesh: Mesh, by_mm: float = 2.0) -> FloatArray:
    """The vertices a little off the surface, so that the mark lies over the body."""
    corners = mesh.vertices_mm[mesh.faces]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    at = np.zeros_like(mesh.vertices_mm)
    for i in range(3):
        np.add.at(at, mesh.faces[:, i], normals)
    size = np.linalg.norm(at, axis=1, keepdims=True)
    return mesh.vertices_mm + by_mm * at / np.where(size > 0, size, 1.0)


def best_view(mesh: Mesh) -> View:
    """Of the views from the four quarters, the one that sees most of *mesh*."""
    corners = mesh.vertices_mm[mesh.faces]
    normals = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])

    def seen(view: View) -> float:
        azimuth, height = math.radians(view.azimuth_deg), math.radians(view.elevation_deg)
        level = math.cos(height)
        eye = np.array([level * math.cos(azimuth), level * math.sin(azimuth), math.sin(height)])
        return float(np.clip(normals @ eye, 0.0, None).sum())

    return max((VIEWS[name] for name in _QUARTERS), key=seen)


def _advice(piece: Piece) -> Iterator[str]:
    """What to mind in laying one piece."""
    wrapped = [r for r in piece.pattern.edges if r.finish.finish is Finish.WRAP]
    if wrapped:
        listed = ", ".join(f"{r.name} ({r.finish.distance_mm:g} mm)" for r in wrapped if r.name)
        yield f"Wrap after the flat has set: {listed}."
    if piece.keep_outs:
        yield "Leave free: " + ", ".join(item.name for item in piece.keep_outs) + "."
    longest = max(piece.pattern.edges, key=lambda r: r.flat_length_mm - r.surface_length_mm)
    crowd = longest.flat_length_mm / longest.surface_length_mm - 1.0
    if crowd > 0.005 and longest.name:
        yield (
            f"At the edge “{longest.name}” the piece is {100 * crowd:.1f} % longer than the car: "
            "work the excess out evenly from the middle, never to one corner."
        )


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
            )
            for line in cost.lines
        ),
        net=cost.net,
        tax=cost.tax,
        gross=cost.gross,
        tax_rate=rates.tax,
        covered=tuple((panel_title(piece.name), _covered(piece)) for piece in pieces),
        free=tuple(
            dict.fromkeys(
                f"{item.name or item.kind.value} on {panel_title(piece.name)}"
                for piece in pieces
                for item in piece.keep_outs
            )
        ),
        notes=(ROUNDING,),
    )


def _rate(unit: str, rate: Decimal, rates: Rates) -> str:
    # A shop may charge fractions of its smallest coin per metre; those stay to be seen.
    given = max(0, -int(rate.normalize().as_tuple().exponent))
    written = f"{rate:.{max(given, rates.decimals)}f}"
    return {"m": f"{written} per m", "min": f"{written} per hour"}.get(unit, "")


def _covered(piece: Piece) -> str:
    """What the piece covers, in the customer's words."""
    part = "up to the line agreed" if piece.cover.line_mm is not None else "the whole panel"
    wrapped = [r.name for r in piece.pattern.edges if r.finish.finish is Finish.WRAP and r.name]
    if wrapped:
        return f"{part}, wrapped round: {', '.join(dict.fromkeys(wrapped))}"
    return f"{part}, ending just short of its edges"
