"""What a cover will about come to, while somebody chooses.

Film follows from a quick layout of the panels' measured flat shapes (see `layflat.nest.fronts`),
minutes and price from the same rules as the real ones, strain from the whole panels'.

How far real layouts lie from the quick one was found on the demo's two bodies: 31 covers, from one
panel to the whole vehicle, on rolls of 1524 and 1219 mm, 37 layouts in all. A single piece takes
0.99 to 1.01 of the quick length. Several took 0.80 to 1.06 of it, and 1.19 in one case on a machine
that was busy with other work; 1.00 on average. Before a body is measured, outlines are coarser:
0.79 to 1.32. The ranges below are those; `python -m bench cover` finds such ratios anew.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from layflat.film import generic_film
from layflat.nest import Frame, front_layout, fronts_length_mm
from layflat.papers import Effort
from layflat.pattern import STRAIN_UNKNOWN
from layflat.plan import Minutes, PieceWork, Price, estimate_minutes, metres_of, price
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import Choices
from layflat.web.cover.flat_shapes import FlatShape, flat_shape
from layflat.web.cover.measure import measured
from layflat.web.cover.order import EDGE_MARGIN_MM, END_MARGIN_MM, GAP_MM, MAX_SECTION_MM
from layflat.web.cover.panels import panels_on
from layflat.web.cover.price import rates_of
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length


@dataclass(frozen=True)
class Spread:
    """How real layouts lie about the quick one: factors on its length."""

    least: float
    middle: float
    most: float


ONE_PIECE: Final = Spread(0.98, 1.0, 1.02)
MEASURED: Final = Spread(0.8, 1.0, 1.2)
UNMEASURED: Final = Spread(0.78, 1.0, 1.35)
_CUT_S_PER_M = 6.0
"""Seconds that the generic plotter takes for a metre of outline, ways between them included."""
_HARD_SHARE = 0.02
_FAR_BEYOND = 2.0
_RELIEF = "a relief cut or a second piece may be needed"


@dataclass(frozen=True)
class Warning:  # noqa: A001
    """What laying one panel will about ask for.

    Attributes:
        panel: its name.
        effort: "care" or "hard"; "flat" for a kept pattern, whose stretch is unknown.
        sentence: in plain words.
    """

    panel: str
    effort: str
    sentence: str


@dataclass(frozen=True, kw_only=True)
class Estimate:
    """What a cover will about come to.

    Attributes:
        pieces: how many.
        film_mm, film_least_mm, film_most_mm: of roll, whole sections.
        minutes: of every step.
        price: by the shop's rates.
        warnings: per panel that asks for more than an easy hand.
        is_measured: whether its panels were flattened on this revision; else areas only.
        notes: sentences on how it was found.
    """

    pieces: int
    film_mm: float
    film_least_mm: float
    film_most_mm: float
    minutes: Minutes
    price: Price
    warnings: tuple[Warning, ...]
    is_measured: bool
    notes: tuple[str, ...]


def estimate(choices: Choices, revision: Revision, shop: Shop) -> Estimate:
    """What *choices* on *revision* will about come to, without any long work.

    Raises:
        InputError: the body is not prepared; a chosen panel is not on it; a line does not part its
            panel.
    """
    measures = measured(revision)
    panels = panels_on(revision)
    shapes: list[FlatShape] = []
    warnings: list[Warning] = []
    for choice in choices.panels:
        if choice.kept is not None:
            shapes.append(flat_shape(choice, revision, measures))
            continue
        facts = panels.of(choice.panel)
        fault = "" if measures is None else measures.faults.get(choice.panel, "")
        if not facts.mesh or fault:
            warnings.append(_impossible(choice.panel, fault))
            continue
        shapes.append(flat_shape(choice, revision, measures))
    usable_mm = shop.roll_width_mm - 2 * EDGE_MARGIN_MM
    for shape in shapes:
        warnings += _too_large(shape, usable_mm, shop)
        warnings += _strained(shape)
    is_measured = all(shape.measures is not None or shape.is_kept for shape in shapes)
    packed_mm = _film_mm(shapes, usable_mm)
    spread = _spread(len(shapes), is_measured)
    least_mm = _least_mm(shapes, usable_mm)
    film_mm = max(spread.middle * packed_mm, least_mm)
    minutes = estimate_minutes(
        tuple(_work(shape) for shape in shapes),
        cutting_s=_CUT_S_PER_M * sum(shape.rim_mm for shape in shapes) / 1e3,
    )
    return Estimate(
        pieces=len(shapes),
        film_mm=film_mm,
        film_least_mm=max(spread.least * packed_mm, least_mm),
        film_most_mm=max(spread.most * packed_mm, least_mm),
        minutes=minutes,
        price=price(metres=metres_of(film_mm), minutes=minutes, rates=rates_of(shop)),
        warnings=tuple(warnings),
        is_measured=is_measured,
        notes=tuple(_notes(is_measured, spread)),
    )


def _spread(pieces: int, is_measured: bool) -> Spread:
    if not is_measured:
        return UNMEASURED
    return ONE_PIECE if pieces == 1 else MEASURED


def _least_mm(shapes: Sequence[FlatShape], usable_mm: float) -> float:
    """What no layout does without: the area, and the piece that is longest however it is turned."""
    area_mm = sum(shape.area_mm2 for shape in shapes) / usable_mm
    lying = [
        min(side for side, other in (sides, sides[::-1]) if other <= usable_mm)
        for sides in (shape.sides_mm for shape in shapes)
        if sides[1] <= usable_mm
    ]
    return ONE_PIECE.least * max(area_mm, max(lying, default=0.0))


def _film_mm(shapes: Sequence[FlatShape], usable_mm: float) -> float:
    frame = Frame(usable_mm=usable_mm, longest_mm=MAX_SECTION_MM - 2 * END_MARGIN_MM, gap_mm=GAP_MM)
    ends_mm = 2 * END_MARGIN_MM
    stretches = front_layout([shape.turns for shape in shapes], frame, ends_mm=ends_mm)
    placed = {spot.piece for stretch in stretches for spot in stretch.spots}
    # What fits nowhere is said to be too large, and counted as if it lay by itself.
    apart = [shape.sides_mm[0] + ends_mm for i, shape in enumerate(shapes) if i not in placed]
    return fronts_length_mm(stretches, frame, ends_mm=ends_mm) + sum(apart)


def _work(shape: FlatShape) -> PieceWork:
    strained = 0.0 if shape.measures is None else shape.measures.over_stretch * shape.share
    return PieceWork(
        name=shape.panel,
        area_mm2=shape.area_mm2,
        outline_mm=shape.rim_mm,
        wrap_mm=shape.wrap_mm,
        cut_outs=shape.cut_outs,
        strained_share=min(strained, 1.0),
    )


def _impossible(panel: str, fault: str) -> Warning:
    why = fault or "It cannot be cut out of this scan; see the body's page."
    return Warning(panel, Effort.HARD.value, f"{why} It is not in these figures.")


def _too_large(shape: FlatShape, usable_mm: float, shop: Shop) -> Iterator[Warning]:
    long_mm, wide_mm = shape.sides_mm
    lengthwise_mm = MAX_SECTION_MM - 2 * END_MARGIN_MM
    if wide_mm > usable_mm:
        yield Warning(
            shape.panel,
            Effort.HARD.value,
            f"About {shown_length(wide_mm, shop)} wide, and the roll takes "
            f"{shown_length(usable_mm, shop)}: cover it up to a line, or use a wider roll.",
        )
    elif long_mm > max(usable_mm, lengthwise_mm):
        yield Warning(
            shape.panel,
            Effort.HARD.value,
            f"About {shown_length(long_mm, shop)} long, and {shown_length(lengthwise_mm, shop)} "
            "are cut in one go: cover it up to a line.",
        )


def _strained(shape: FlatShape) -> Iterator[Warning]:
    """What the strain of the whole panel says of the piece.

    Strain grows with the area covered, as on a cap of a sphere; so a part has its share of it.
    """
    found, film = shape.measures, generic_film()
    if shape.is_kept:
        yield Warning(shape.panel, Effort.UNKNOWN.value, STRAIN_UNKNOWN)
    if found is None:
        return
    stretch, compression = found.stretch * shape.share, found.compression * shape.share
    over_finger = found.over_finger * shape.share if compression > film.finger_limit else 0.0
    is_hard = stretch > _FAR_BEYOND * film.stretch_limit or over_finger > _HARD_SHARE
    if stretch > film.stretch_limit:
        what, value, limit, until = "Stretched", stretch, film.stretch_limit, "go unnoticed"
        end = f"{_RELIEF}." if is_hard else "warm it and stretch it slowly."
    elif compression > film.finger_limit:
        what, value, limit, until = "Compressed", compression, film.finger_limit, "lie flat"
        end = "work the excess out to the edge evenly."
        if is_hard:
            end = f"warm it, work the excess out to the edge; {_RELIEF}."
    else:
        return
    yield Warning(
        shape.panel,
        (Effort.HARD if is_hard else Effort.CARE).value,
        f"{what} by about {100 * value:.0f}\u00a0% at most, where "
        f"{100 * limit:.0f}\u00a0% {until}: {end}",
    )


def _notes(is_measured: bool, spread: Spread) -> Iterator[str]:
    yield (
        f"An estimate: real layouts took {100 * spread.least:.0f} to {100 * spread.most:.0f}\u00a0%"
        " of what the quick one takes."
    )
    if not is_measured:
        yield (
            "The body's panels are not measured yet: film follows from their areas, and nothing "
            "is known of stretch."
        )
