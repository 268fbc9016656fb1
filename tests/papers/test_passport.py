"""The passport on paper, and its QR code against ISO/IEC 18004 (values from memory).

A symbol has 17 + 4 · version modules a side (5.3.1), finder patterns in three corners (5.3.3.1), a
timing pattern between them (5.3.5), four light modules around (5.3.8), and format information with
BCH(15,5) by the generator 10100110111, masked with 101010000010010 (annex C).
"""

import io

import numpy as np
import pytest
from PIL import Image

from layflat.base import CheckError, InputError
from layflat.papers import Paper, passport_document, picture_png, qr_svg
from papers import scene
from papers.test_sheets import reader, text_of

ADDRESS = "https://yard.example/for-you/passport/" + "Qx7_" * 10 + "abc/"
FINDER = np.ones((7, 7), dtype=bool)
FINDER[1:6, 1:6] = False
FINDER[2:5, 2:5] = True


def modules(svg: str) -> np.ndarray:
    """The symbol as a picture shows it: true where dark, with what is around it."""
    with Image.open(io.BytesIO(picture_png(svg, ppi=288.0))) as image:
        dark = np.asarray(image.convert("L")) < 128
    rows = np.flatnonzero(dark.any(axis=1))
    # The upper left finder pattern is seven modules wide.
    run = np.flatnonzero(~dark[rows[0], np.flatnonzero(dark[rows[0]])[0] :])[0]
    size = run / 7
    count = round(dark.shape[0] / size)
    centres = ((np.arange(count) + 0.5) * dark.shape[0] / count).astype(int)
    return dark[np.ix_(centres, centres)]


@pytest.mark.parametrize("address", [ADDRESS, "http://127.0.0.1:8737/x/"])
def test_a_qr_code_is_built_as_the_standard_says(address: str) -> None:
    whole = modules(qr_svg(address))
    assert not whole[:4].any()
    assert not whole[-4:].any()
    assert not whole[:, :4].any()
    assert not whole[:, -4:].any()
    symbol = whole[4:-4, 4:-4]
    side = len(symbol)
    assert (side - 17) % 4 == 0
    for corner in (symbol[:7, :7], symbol[:7, -7:], symbol[-7:, :7]):
        assert (corner == FINDER).all()
    assert (symbol[6, 8:-8] == (np.arange(8, side - 8) % 2 == 0)).all()
    bits = [symbol[8, x] for x in (0, 1, 2, 3, 4, 5, 7, 8)]
    bits += [symbol[y, 8] for y in (7, 5, 4, 3, 2, 1, 0)]
    found = int("".join("01"[bool(bit)] for bit in bits), 2) ^ 0b101010000010010
    rest = found
    for place in range(14, 9, -1):
        if rest >> place & 1:
            rest ^= 0b10100110111 << place - 10
    assert rest == 0
    assert found >> 13 == 0b00  # level M


def test_what_is_said_stands_on_paper_once_with_its_address() -> None:
    document = passport_document(scene.sheet_of_passport())
    text = text_of(document)
    for words in ("LW-7731", "presseddownbyInes", "liftededge", "Ironremoval", "3f9c12ab" * 8):
        assert words in text
    links = [
        note.get_object()["/A"]["/URI"]
        for page in reader(document).pages
        for note in page.get("/Annots", [])
    ]
    assert links == ["https://yard.example/for-you/passport/abc/"]


def test_what_is_not_known_leaves_no_empty_heading() -> None:
    bare = scene.sheet_of_passport(
        flags=(), history=(), steps=(), acknowledged=(), pictures=(), free=(), address="", qr=""
    )
    text = text_of(passport_document(bare))
    assert "Nothinghadtobeflagged" in text
    for heading in ("Madeanew", "Stepsofthework", "Knownbefore", "Thefinishedvehicle", "Leftfree"):
        assert heading not in text


def test_a_passport_without_film_and_a_broken_picture_are_refused() -> None:
    with pytest.raises(InputError, match="every piece of film"):
        scene.sheet_of_passport(pieces=())
    with pytest.raises(InputError, match="at most 24 pictures"):
        scene.sheet_of_passport(pictures=((scene.a_photo(), ""),) * 25)
    with pytest.raises(CheckError, match="cannot be read"):
        passport_document(scene.sheet_of_passport(pictures=((b"no picture", ""),)))


@pytest.mark.parametrize("paper", Paper)
def test_sixty_pieces_go_over_several_pages(paper: Paper) -> None:
    (piece,) = scene.sheet_of_passport().pieces
    sheet = scene.sheet_of_passport(head=scene.head(paper=paper), pieces=(piece,) * 60)
    assert 4 <= passport_document(sheet).page_count() <= 8
