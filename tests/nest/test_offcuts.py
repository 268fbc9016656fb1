"""What remains of the film: by hand, and as a sum that is always whole."""

from dataclasses import replace

import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layflat.base import CheckError, InputError
from layflat.nest import (
    FilmAccount,
    Request,
    Stock,
    Stretch,
    film_account,
    offcuts_of,
    place,
    placed_pattern,
)
from layflat.pattern import to_polygon
from nest.pieces import rectangle, stars

STOCK = Stock(width_mm=600, edge_margin_mm=20, end_margin_mm=5, length_mm=3000)


def laid(*sizes: tuple[float, float], stock: Stock = STOCK, section: float | None = None):
    requests = [Request(pattern=rectangle(*size), turns_deg=(0.0,)) for size in sizes]
    return place(requests, stock, gap_mm=4, seconds=0.05, seed=1, max_section_mm=section)


def test_the_strip_beside_a_bar_is_found() -> None:
    """A bar of 700 by 200 on 600 mm: 380 mm beside it, over the section's 710 mm."""
    (offcut,) = offcuts_of(laid((700, 200)), least_mm=(250, 400))
    assert offcut.length_mm == pytest.approx(710, abs=10)
    assert offcut.width_mm == pytest.approx(380, abs=10.1)
    assert offcuts_of(laid((700, 200)), least_mm=(390, 400)) == ()


def test_film_behind_counts_on_an_offcut_only() -> None:
    layout = laid((700, 560))
    assert offcuts_of(layout, least_mm=(250, 400)) == ()
    (rest,) = offcuts_of(layout, least_mm=(250, 400), behind=True)
    assert (rest.start_mm, rest.length_mm) == pytest.approx((710, 2290))


def test_film_that_is_passed_by_is_found_without_its_fault() -> None:
    stock = replace(STOCK, faults=(Stretch(start_mm=600, end_mm=610, reason="crease"),))
    (rest,) = offcuts_of(laid((700, 560), stock=stock), least_mm=(250, 400))
    assert (rest.start_mm, rest.length_mm, rest.width_mm) == pytest.approx((0, 600, 600))


@settings(deadline=None, derandomize=True, max_examples=8)
@given(
    shapes=st.lists(stars(), min_size=1, max_size=4),
    crease=st.floats(100, 900),
    section=st.sampled_from([None, 400.0]),
    is_offcut=st.booleans(),
)
def test_length_in_is_pieces_waste_offcuts_and_left(shapes, crease, section, is_offcut) -> None:
    fault = Stretch(start_mm=crease, end_mm=crease + 7, reason="dirt")
    stock = replace(STOCK, faults=(fault,))
    requests = [Request(pattern=shape, copies=2) for shape in shapes]
    layout = place(requests, stock, gap_mm=4, seconds=0.05, seed=1, max_section_mm=section)
    offcuts = offcuts_of(layout, least_mm=(100, 200), behind=is_offcut)
    kept = offcuts[::2]
    account = film_account(layout, kept, length_mm=3000, is_offcut=is_offcut)
    whole = account.pieces_mm + account.waste_mm + account.offcuts_mm + account.left_mm
    assert whole == pytest.approx(3000, abs=0.3)
    assert account.waste_mm > 0
    # Geometry of the tests' own: offcuts lie off pieces, the fault and each other.
    pieces = [to_polygon(placed_pattern(p), deviation_mm=0.01) for p in layout.placements]
    pieces.append(shapely.box(fault.start_mm, 0, fault.end_mm, 600))
    boxes = [one.polygon() for one in offcuts]
    for i, box in enumerate(boxes):
        assert min(box.bounds[2] - box.bounds[0], box.bounds[3] - box.bounds[1]) >= 100
        assert all(box.intersection(other).area < 1e-3 for other in [*pieces, *boxes[:i]])


def test_an_account_that_does_not_add_up_is_refused() -> None:
    with pytest.raises(CheckError, match=r"of 1000\.0 mm, 10\.00 mm are neither"):
        FilmAccount(in_mm=1000, pieces_mm=500, waste_mm=190, offcuts_mm=100, left_mm=200)
    with pytest.raises(CheckError, match="negative"):
        FilmAccount(in_mm=1000, pieces_mm=500, waste_mm=-100, offcuts_mm=300, left_mm=300)
    layout = laid((700, 200))
    (offcut,) = offcuts_of(layout, least_mm=(250, 400))
    with pytest.raises(CheckError, match="does not add up"):
        film_account(layout, (replace(offcut, low_mm=100),), length_mm=3000)
    with pytest.raises(InputError, match="must be above 0"):
        offcuts_of(layout, least_mm=(0, 10))
