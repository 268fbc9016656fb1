"""The typesetter: a template of ours and plain values in, bytes out.

Nothing is read from the network or from the system's fonts, and a document carries the date
that it is given, never the clock's, so that equal input gives equal bytes.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cache
from importlib import resources
from typing import Any, Literal

import font_source_sans_pro
import typst

from layflat.base import CheckError

_STANDARD = "a-2a"  # archival, tagged, and strict: a sign without a glyph is an error
_COUNTING_PPI = 4.0
_PROBE = b"""
#set document(date: datetime(year: 2000, month: 1, day: 1))
#set text(font: ("Source Sans Pro", "Libertinus Serif", "DejaVu Sans Mono"))
#sys.inputs.sign
"""


@dataclass(frozen=True, eq=False, kw_only=True)
class Document:
    """A sheet before it is set.

    Attributes:
        template: name of a file in `templates`.
        values: what JSON can hold; the template reads it, it is never markup.
        pictures: file names, as *values* refers to them, with their SVG bytes.
        dated: the document's date.
    """

    template: str
    values: Mapping[str, Any]
    pictures: Mapping[str, bytes]
    dated: date

    def pdf(self) -> bytes:
        """The sheet as PDF/A-2a: archival and tagged.

        Raises:
            CheckError: the typesetter refused it.
        """
        return _set(self, form="pdf", ppi=144.0)[0]

    def pages(self, *, ppi: float = 110.0) -> tuple[bytes, ...]:
        """The pages as PNG pictures, for screens and for the manual.

        Raises:
            CheckError: the typesetter refused it.
        """
        return _set(self, form="png", ppi=ppi)

    def page_count(self) -> int:
        """How many pages the sheet takes.

        Raises:
            CheckError: the typesetter refused it.
        """
        return len(self.pages(ppi=_COUNTING_PPI))


def picture_png(svg: str, *, ppi: float = 144.0) -> bytes:
    """An SVG picture (as the functions of this part draw them) as PNG bytes.

    Raises:
        CheckError: the typesetter refused the picture.
    """
    main = b'#set page(width: auto, height: auto, margin: 0pt)\n#image("picture.svg")'
    files = {"main.typ": main, "picture.svg": svg.encode()}
    return _run(files, form="png", ppi=ppi)[0]


@cache
def has_glyph(sign: str) -> bool:
    """Whether a typeface of ours holds *sign*: the archival standard refuses one that is not."""
    try:
        typst.compile(  # type: ignore[call-overload]
            {"main.typ": _PROBE},
            font_paths=_font_folders(),
            ignore_system_fonts=True,
            format="pdf",
            sys_inputs={"sign": sign},
            pdf_standards=["a-2b"],
            timestamp=0,
        )
    except typst.TypstError:
        return False
    return True


def _set(document: Document, *, form: Literal["pdf", "png"], ppi: float) -> tuple[bytes, ...]:
    folder = resources.files("layflat.papers").joinpath("templates")
    files = {
        entry.name: entry.read_bytes() for entry in folder.iterdir() if entry.name.endswith(".typ")
    }
    files["main.typ"] = files.pop(document.template)
    dated = document.dated
    day = {"year": dated.year, "month": dated.month, "day": dated.day}
    data = json.dumps({**document.values, "date": day}, ensure_ascii=False, allow_nan=False)
    return _run(
        {**files, **document.pictures},
        form=form,
        ppi=ppi,
        inputs={"values": data},
        moment=datetime(dated.year, dated.month, dated.day, tzinfo=UTC),
    )


def _run(
    files: Mapping[str, bytes],
    *,
    form: Literal["pdf", "png"],
    ppi: float,
    inputs: Mapping[str, str] | None = None,
    moment: datetime | None = None,
) -> tuple[bytes, ...]:
    try:
        output = typst.compile(  # type: ignore[call-overload]
            dict(files),
            font_paths=_font_folders(),
            ignore_system_fonts=True,
            format=form,
            ppi=ppi,
            sys_inputs=dict(inputs or {}),
            pdf_standards=[_STANDARD] if form == "pdf" else [],
            timestamp=int(moment.timestamp()) if moment else 0,
        )
    except typst.TypstError as error:
        raise CheckError(f"The sheet could not be set: {error.message}.") from error
    return tuple(output) if isinstance(output, list) else (output,)


def _font_folders() -> list[str]:
    # The package's own folder, through its public mapping of one face to its file.
    anchor = resources.files(font_source_sans_pro).joinpath("files")
    return [str(anchor)]
