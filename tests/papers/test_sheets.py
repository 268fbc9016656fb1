"""Every sheet, opened as a stranger's program opens it."""

import io
import re
import unicodedata
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from defusedxml.ElementTree import fromstring
from pypdf import PdfReader

from layflat.fit import Fingers, FingerZone, plan_piece
from layflat.papers import (
    CutMark,
    Document,
    LengthUnit,
    Paper,
    Way,
    care_document,
    fit_document,
    laying_document,
    offer_document,
    panel_title,
    passport_document,
    picture_png,
    price_document,
    weeding_document,
)
from layflat.papers.canvas import Canvas
from papers import scene

SHEETS: dict[str, Callable[..., Document]] = {
    "fit": lambda **changes: fit_document(scene.fit_sheet(**changes)),
    "weeding": lambda **changes: weeding_document(scene.weeding_sheet(8, **changes)),
    "laying": lambda **changes: laying_document(scene.sheet_of_laying(8, **changes)),
    "price": lambda **changes: price_document(scene.sheet_of_price(**changes)),
    "offer": lambda **changes: offer_document(scene.sheet_of_offer(**changes)),
    "passport": lambda **changes: passport_document(scene.sheet_of_passport(**changes)),
    "care": lambda **changes: care_document(scene.sheet_of_care(**changes)),
}


def reader(document: Document) -> PdfReader:
    return PdfReader(io.BytesIO(document.pdf()))


def plain(text: str) -> str:
    """Text without the places where lines may break."""
    kept = unicodedata.normalize("NFKC", text).replace("\u200b", "")
    return "".join(kept.split())


def text_of(document: Document) -> str:
    return plain("".join(page.extract_text() for page in reader(document).pages))


@pytest.mark.parametrize("name", SHEETS)
def test_equal_input_gives_equal_bytes(name: str) -> None:
    assert SHEETS[name]().pdf() == SHEETS[name]().pdf()


@pytest.mark.parametrize("name", SHEETS)
def test_every_typeface_is_embedded(name: str) -> None:
    fonts = [
        font.get_object()
        for page in reader(SHEETS[name]()).pages
        for font in page["/Resources"]["/Font"].values()
    ]
    assert fonts
    for font in fonts:
        descriptor = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert {"/FontFile2", "/FontFile3"} & set(descriptor), font["/BaseFont"]


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_says_that_it_is_archival_and_which_day_it_is_from(name: str) -> None:
    data = SHEETS[name]().pdf()
    assert b"<pdfaid:part>2" in data.replace(b"\n", b"")
    metadata = PdfReader(io.BytesIO(data)).metadata
    assert metadata is not None
    assert metadata.creation_date is not None
    assert metadata.creation_date.date() == scene.DAY


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize(
    ("paper", "size_pt"), [(Paper.A4, (595.28, 841.89)), (Paper.LETTER, (612.0, 792.0))]
)
def test_the_paper_is_the_one_asked_for(
    name: str, paper: Paper, size_pt: tuple[float, float]
) -> None:
    document = SHEETS[name](head=scene.head(paper=paper))
    for page in reader(document).pages:
        sides = sorted((float(page.mediabox.width), float(page.mediabox.height)))
        assert sides == pytest.approx(size_pt, abs=0.1)


@pytest.mark.parametrize("name", SHEETS)
def test_the_title_block_stands_on_every_page(name: str) -> None:
    pages = reader(SHEETS[name]()).pages
    for number, page in enumerate(pages, start=1):
        text = plain(page.extract_text())
        assert plain("Kesselhof Film & Finish") in text
        assert plain(f"{number} of {len(pages)}") in text


@pytest.mark.parametrize(("count", "pages"), [(1, 2), (8, 2), (25, 3)])
def test_the_piece_map_has_an_overview_and_a_page_for_each_section(count: int, pages: int) -> None:
    layout = scene.layout(count)
    document = weeding_document(scene.weeding_sheet(count))
    assert len(reader(document).pages) == 1 + len(layout.sections) == pages
    text = text_of(document)
    for item in layout.placements:
        assert plain(panel_title(item.pattern.name)) in text


@pytest.mark.parametrize(("paper", "copies"), [(Paper.A4, 1), (Paper.A4, 2), (Paper.LETTER, 1)])
def test_an_ordinary_fit_report_and_price_stay_on_one_page(paper: Paper, copies: int) -> None:
    """Also with eight edges and four places left free."""
    pattern = replace(scene.hood(), edges=scene.hood().edges * copies)
    head = scene.head(paper=paper)
    sheet = scene.fit_sheet(head=head, pattern=pattern, free=scene.KEEP_OUTS * copies)
    assert len(reader(fit_document(sheet)).pages) == 1
    row = scene.sheet_of_price().rows[-1]
    rows = scene.sheet_of_price().rows + (row,) * copies
    covered = scene.sheet_of_price().covered * copies
    sheet_of_price = scene.sheet_of_price(head=head, rows=rows, covered=covered)
    assert len(reader(price_document(sheet_of_price)).pages) == 1


def map_height_mm(document: Document) -> float:
    svg = document.pictures["strain.svg"].decode()
    return float(fromstring(svg).get("height").removesuffix("mm"))


def test_the_map_takes_the_room_that_the_page_has_left() -> None:
    """From its least height, with much to say, up to what the piece needs; a little more spills."""
    for count in (3, 8):
        pattern = replace(scene.hood(), edges=(scene.hood().edges * 10)[:count])
        document = fit_document(scene.fit_sheet(pattern=pattern))
        height = map_height_mm(document)
        assert document.page_count() == 1
        assert 56.0 < height < 112.0
        taller = Canvas(178.0, height + 2.0).svg().encode()
        spilled = replace(document, pictures={**document.pictures, "strain.svg": taller})
        assert spilled.page_count() == 2
    much = replace(scene.hood(), edges=scene.hood().edges * 10)
    assert map_height_mm(fit_document(scene.fit_sheet(pattern=much))) == 56.0
    bare = fit_document(scene.fit_sheet(free=(), laying=(), warnings=()))
    assert map_height_mm(bare) <= 112.0


def test_every_piece_has_its_row_in_the_inspection() -> None:
    """Numbers and names again, and no box for openings where a piece has none."""
    sheet = scene.sheet_of_laying(8)
    pages = [page.extract_text() for page in reader(laying_document(sheet)).pages]
    text = plain(pages[-1])
    assert plain("Inspection, by somebody who did not lay it") in text
    rows = text.split(plain("Openings free"))[1]
    for piece in sheet.pieces:
        assert plain(f"{piece.number}{piece.name}") in rows
    whole = sum(not piece.pattern.cut_outs for piece in sheet.pieces)
    assert 0 < whole < len(sheet.pieces)
    assert rows.count("none") == whole


def test_many_pieces_are_inspected_over_several_pages() -> None:
    sheet = scene.sheet_of_laying(25)
    text = text_of(laying_document(sheet))
    rows = text.split(plain("who did not lay it"))[-1]
    for piece in sheet.pieces:
        assert plain(f"{piece.number}{piece.name}") in rows


def test_fingers_and_cuts_are_marked_on_the_map_and_listed() -> None:
    flat = scene.flat()
    zones = [
        FingerZone(
            faces=np.arange(10 * i, 10 * i + 10),
            centre_mm=flat.mesh.vertices_mm[0],
            direction_mm=np.array([1.0, 0.0, 0.0]),
            flat_direction=np.array([0.6, 0.8]),
            depth_mm=20.0 + i,
            width_mm=111.0,
            excess_mm=excess,
            greatest=0.03,
            ends_at_edge=True,
            area_mm2=200.0,
        )
        for i, excess in enumerate((1.5, 0.04, 4.5))
    ]
    cut = CutMark("R1", flat.points_mm[[0, 5]])
    sheet = scene.fit_sheet(
        fingers=Fingers(tuple(zones), 0.01, 0, 0.0), cuts=((cut, "50 mm inward."),)
    )
    document = fit_document(sheet)
    told = text_of(document)
    assert "Cutsthatwouldhelp" in told
    assert "R150mminward." in told
    # The most film too much comes first; what a thumb presses away is not numbered.
    rows = re.findall(r"(\d)111mm\d+mm([0-9.]+)mm", told)
    assert rows == [("1", "4.5"), ("2", "1.5")]
    drawing = document.pictures["strain.svg"].decode()
    assert ">R1</text>" in drawing
    assert drawing.count(">2</text>") == 1
    assert ">3</text>" not in drawing


def test_one_piece_and_two_stand_side_by_side_and_the_seam_is_drawn() -> None:
    flat = scene.flat()
    whole = Way(
        name="One piece",
        stretch=0.154,
        excess_mm=157.3,
        seam_mm=0.0,
        visible_mm=0.0,
        film_mm2=60_000.0,
        minutes=20.4,
    )
    two = replace(
        whole, name="Two, at S1", stretch=0.089, excess_mm=72.6, seam_mm=279.0, visible_mm=43.0
    )
    seam = CutMark("S1", flat.points_mm[[0, 5]], is_seam=True)
    document = fit_document(scene.fit_sheet(seams=(seam,), ways=(whole, two)))
    told = text_of(document)
    assert plain("One piece 15.4 % 157 mm none 0.060 m² 20 min") in told
    assert plain("Two, at S1 8.9 % 73 mm 279 mm, 43 mm 0.060 m² 20 min") in told
    assert ">S1</text>" in document.pictures["strain.svg"].decode()
    assert "Onepieceortwo" not in text_of(fit_document(scene.fit_sheet()))


def test_the_fit_report_states_its_numbers() -> None:
    text = text_of(fit_document(scene.fit_sheet()))
    for words in ("8.6 %", "maker's emblem", "wrapped 8 mm", "+9.3 mm", "measured with a micro"):
        assert plain(words) in text


def test_assumed_values_are_called_assumed() -> None:
    text = text_of(fit_document(scene.fit_sheet()))
    silent = "finger limit, finger limit of warmed wraps, Poisson ratio"
    assert plain(f"{silent}: the film file names no source") in text


def test_the_laying_sheet_warns_and_defers_and_asks_for_a_second_person() -> None:
    text = text_of(laying_document(scene.sheet_of_laying()))
    for words in ("alcohol vapour", "no hot air", "radar", "licensed practice", "another person"):
        assert plain(words) in text


def test_a_piece_with_a_plan_has_a_page_on_how_it_is_laid() -> None:
    flat, region = scene.flat(), scene.region()
    plan = plan_piece(flat, region)
    sheet = scene.sheet_of_laying(2)
    planned = replace(sheet.pieces[0], pattern=scene.hood(), plan=plan)
    pages = [
        plain(page.extract_text())
        for page in reader(laying_document(replace(sheet, pieces=(planned, sheet.pieces[1])))).pages
    ]
    (page,) = [page for page in pages if "Howitislaid" in page]
    assert "AnchoratO" in page
    for tape in plan.tapes:
        assert f"{tape.letters[0]}–{tape.letters[1]}" in page
        assert f"{tape.liner_mm:.0f}→{tape.car_mm:.0f}" in page
    for sweep in plan.sweeps:
        assert str(sweep.number) in page
    assert len(plan.tapes) + len(plan.heats) > 0
    assert any("hotairburns" in page for page in pages)
    assert not any("Howitislaid" in page for page in map(plain, _texts(laying_document(sheet))))


def _texts(document: Document) -> list[str]:
    return [page.extract_text() for page in reader(document).pages]


def test_the_price_sheet_shows_the_sums() -> None:
    text = text_of(price_document(scene.sheet_of_price()))
    for words in ("1 178.78", "Tax, 20 %", "235.76", "EUR 1 414.54", "repainted panel"):
        assert plain(words) in text


def test_inches_are_shown_when_the_shop_chose_them() -> None:
    text = text_of(fit_document(scene.fit_sheet(head=scene.head(unit=LengthUnit.INCH))))
    assert plain("35.92 in") in text  # 912.4 mm


@pytest.mark.parametrize("name", SHEETS)
def test_markup_from_people_comes_out_as_text(name: str) -> None:
    head = scene.head(job=scene.HOSTILE, vehicle=scene.HOSTILE, workshop="#panic()")
    text = text_of(SHEETS[name](head=head))
    assert plain(scene.HOSTILE[:30]) in text
    assert "#panic()" in text


def test_pictures_carry_what_people_wrote_as_text() -> None:
    canvas = Canvas(20.0, 10.0)
    canvas.text(1.0, 5.0, scene.HOSTILE, size_pt=9)
    assert fromstring(canvas.svg())[0].text == scene.HOSTILE


def test_piece_names_come_out_as_text() -> None:
    document = weeding_document(scene.weeding_sheet(8, layout=scene.layout(8, hostile=True)))
    assert plain(scene.HOSTILE) in text_of(document)


def test_right_to_left_and_emoji_come_out_as_text() -> None:
    names = (scene.EMOJI, scene.RIGHT_TO_LEFT, scene.OVERRIDE)
    text = text_of(fit_document(scene.fit_sheet(warnings=names)))
    assert "[minibus]" in text
    assert set(plain(scene.RIGHT_TO_LEFT)) <= set(text)
    assert "abcgpj.exe" in text


def test_a_word_without_end_breaks_within_the_page() -> None:
    document = fit_document(scene.fit_sheet(piece=scene.ENDLESS, warnings=(scene.ENDLESS,)))
    assert text_of(document).count("W") >= 300 + 139
    assert document.pdf()


def test_sheets_with_nothing_optional_are_set_as_well() -> None:
    document = fit_document(
        scene.fit_sheet(region=None, place=None, free=(), laying=(), warnings=())
    )
    assert plain("Left free of film") not in text_of(document)


def test_pages_and_pictures_can_be_had_as_pixels() -> None:
    pages = price_document(scene.sheet_of_price()).pages(ppi=40)
    assert len(pages) == 1
    assert pages[0].startswith(b"\x89PNG")
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" height="9mm"/>'
    assert picture_png(svg).startswith(b"\x89PNG")
