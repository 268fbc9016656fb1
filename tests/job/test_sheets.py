"""What stands on a job's papers: the order of laying, advice, rates, covers, assumed minutes."""

import io
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest
from pypdf import PdfReader

from layflat.film import stretch_summary
from layflat.job.laying import laying_advice, laying_order, leave_free, order_sentence
from layflat.job.order import Cover
from layflat.job.pieces import Piece, covered_words
from layflat.job.places import surroundings
from layflat.job.sheets import _price_sheet, _rate
from layflat.papers import price_sheet
from layflat.pattern import EdgeFinish, Finish
from layflat.plan import PieceWork, Rates, estimate_minutes, price
from layflat.surface import Loop, Mesh, Panel, Region
from papers import scene

RATES = Rates(currency="EUR", film_per_metre=Decimal("42.5"), per_hour=Decimal(72))


def piece(
    name: str,
    *,
    top_mm: float = 900.0,
    area_dm2: float = 47.0,
    lay: int | None = None,
    short: bool = False,
) -> Piece:
    """A piece of the papers' tests, as high and as large as asked for."""
    side = 100.0 * np.sqrt(area_dm2)
    corners = np.array([[0, 0, -side], [side, 0, -side], [side, 0, 0], [0, 0, 0]])
    mesh = Mesh(corners + np.array([0.0, 0.0, top_mm]), np.array([[0, 1, 2], [0, 2, 3]]))
    flat, pattern = scene.flat(), scene.hood(name)
    if short:
        edges = tuple(
            replace(record, finish=EdgeFinish(Finish.SHORT, 1.5)) for record in pattern.edges
        )
        pattern = replace(pattern, edges=edges)
    return Piece(
        cover=Cover(name, lay=lay),
        panel=Panel(name, ()),
        region=Region(mesh=mesh, loops=(Loop(np.arange(4), np.zeros(4, int), ()),)),
        flat=flat,
        summary=stretch_summary(flat),
        keep_outs=scene.KEEP_OUTS,
        pattern=pattern,
        notes=(),
    )


FRONT = (
    piece("sill", top_mm=300.0, area_dm2=28.0),
    piece("lamp-left", top_mm=640.0, area_dm2=3.0),
    piece("bumper", top_mm=655.0, area_dm2=116.0),
    piece("fender-left", top_mm=856.0, area_dm2=47.2),
    piece("fender-right", top_mm=857.0, area_dm2=46.8),
    piece("hood", top_mm=910.0, area_dm2=148.0),
    piece("mirror", top_mm=1100.0, area_dm2=9.0),
)


def test_pieces_are_laid_from_top_to_bottom_and_of_one_height_the_larger_first() -> None:
    """Common practice, no source: slip runs down over what is not laid yet."""
    assert laying_order(FRONT) == (
        "mirror",
        "hood",
        "fender-left",
        "fender-right",
        "bumper",
        "lamp-left",
        "sill",
    )
    assert order_sentence(FRONT).startswith("From top to bottom")


def test_mirror_images_stay_in_the_order_in_which_they_were_ordered() -> None:
    """A scan's noise makes neither of them larger or higher."""
    right, left = FRONT[4], FRONT[3]
    assert laying_order((right, left)) == ("fender-right", "fender-left")
    assert laying_order((left, right)) == ("fender-left", "fender-right")


def test_the_job_file_can_put_pieces_first() -> None:
    given = [
        replace(item, cover=Cover(item.name, lay={"sill": 2, "bumper": 1}.get(item.name)))
        for item in FRONT
    ]
    assert laying_order(given)[:4] == ("bumper", "sill", "mirror", "hood")
    assert order_sentence(given).startswith("First what the job puts first. Then from top")
    every = [replace(item, cover=Cover(item.name, lay=9)) for item in FRONT]
    assert laying_order(every) == laying_order(FRONT)
    assert order_sentence(every).startswith("In the order that the job asks for")


def test_advice_names_wraps_the_crowded_edge_and_what_stays_free() -> None:
    wraps, crowd = laying_advice(piece("hood"))
    assert wraps == "Wrap after the flat has set: left (8\u00a0mm)."
    # 911.7 mm in the flat, 905.0 mm on the car.
    assert "“Rear”" in crowd
    assert "0.7\u00a0% longer than the car" in crowd
    assert list(leave_free(piece("hood"))) == ["Leave free: maker's emblem; washer jet, left."]


@pytest.mark.parametrize("depths_mm", [(8.0, 5.0), (5.0, 8.0)])
def test_the_parts_of_a_wrapped_edge_are_named_once_with_the_greatest_depth(
    depths_mm: tuple[float, float],
) -> None:
    hood = piece("hood")
    (left,) = (edge for edge in hood.pattern.edges if edge.finish.finish is Finish.WRAP)
    parts = tuple(replace(left, finish=EdgeFinish(Finish.WRAP, mm)) for mm in depths_mm)
    cut = replace(hood, pattern=replace(hood.pattern, edges=parts))
    assert next(laying_advice(cut)) == "Wrap after the flat has set: left (8\u00a0mm)."


def test_a_long_piece_is_for_two_people() -> None:
    long = piece("hood")
    long = replace(long, flat=replace(long.flat, points_mm=1.2 * long.flat.points_mm))
    assert next(laying_advice(long)) == "Two people."
    assert "Two people." not in laying_advice(piece("hood"))


@pytest.mark.parametrize(
    ("unit", "rate", "decimals", "written"),
    [
        ("m", "42.5", 2, "42.50 per m"),
        ("m", "42.505", 2, "42.505 per m"),
        ("min", "72", 2, "72.00 per hour"),
        ("min", "7200", 0, "7200 per hour"),
        ("", "35", 2, ""),
    ],
)
def test_a_rate_keeps_its_fractions_and_says_per_what(
    unit: str, rate: str, decimals: int, written: str
) -> None:
    rates = replace(RATES, decimals=decimals)
    assert _rate(unit, Decimal(rate), rates) == written


def test_the_customer_reads_how_far_each_piece_goes() -> None:
    assert covered_words(piece("hood")) == "the whole panel, wrapped round: left"
    assert (
        covered_words(piece("hood", short=True))
        == "the whole panel, ending just short of its edges"
    )
    line = replace(piece("hood", short=True), cover=Cover("hood", line_mm=np.eye(3)))
    assert covered_words(line).startswith("up to the line agreed")


def test_minutes_that_nobody_gave_are_called_assumed_on_the_price_sheet() -> None:
    work = (PieceWork(name="hood", area_mm2=1e6, outline_mm=4000.0),)
    every = {"intake", "wash", "cut", "weed", "lay", "edges", "inspect", "hand-back"}
    for given, marks in (({"wash": 90.0}, 7), (dict.fromkeys(every, 20.0), 0)):
        minutes = estimate_minutes(work, given=given)
        cost = price(metres=Decimal("7.35"), minutes=minutes, rates=RATES)
        sheet = _price_sheet(scene.head(), (piece("hood"),), cost)
        assert sum(row.assumed for row in sheet.rows) == marks
        pages = PdfReader(io.BytesIO(price_sheet(sheet))).pages
        words = "".join(page.extract_text() for page in pages)
        assert words.count("assumed") == marks
        assert ("own record of time" in " ".join(words.split())) == (marks > 0)


def test_a_place_is_shown_near_by_but_never_without_its_vehicle() -> None:
    steps = np.linspace(0.0, 1.0, 41)
    body = np.stack(np.meshgrid(4800 * steps, 1900 * steps, 1500 * steps), axis=-1).reshape(-1, 3)
    cap = np.array([[1500.0, 0.0, 900.0], [1600.0, 100.0, 1000.0]])
    shown = surroundings(body, cap)
    assert np.ptp(shown[:, 0]) == pytest.approx(0.36 * 4800, rel=0.1)
    hood = np.array([[3300.0, 200.0, 800.0], [4700.0, 1700.0, 900.0]])
    shown = surroundings(body, hood)
    # At the vehicle's end the picture turns inwards rather than show nothing.
    assert np.ptp(shown[:, 0]) == pytest.approx(1500 / 0.6, rel=0.1)
    assert shown[:, 0].max() == 4800.0
