"""What is tapped at the plotter and at the lit table."""

from layflat.base import InputError
from layflat.web.cutting.models import Cut, Offcut, Section
from layflat.web.cutting.offcuts import keep_offcut, offcut_of, reopen_offcut, throw_offcut
from layflat.web.cutting.ticking import (
    REASONS,
    begin_cutting,
    cut_of,
    section_of,
    take_back_section,
    take_back_weeded,
    tick_cut,
    tick_spoiled,
    tick_weeded,
)
from layflat.web.people.shop import INCH_MM
from layflat.web.taps.acts import Call, act, job_of
from layflat.web.taps.naming import Named, by_row, by_words, hidden, name_fields

_MOST_DIGITS = 12


def _pieces(keys: set[int]) -> list[tuple[int, str]]:
    fields = ("pk", "letter", "number", "piece__title")
    rows = Cut.objects.filter(pk__in=keys).values_list(*fields)
    return [(key, f"{letter}{number} {title}") for key, letter, number, title in rows]


def _sections(keys: set[int]) -> list[tuple[int, str]]:
    rows = Section.objects.filter(pk__in=keys).values_list("pk", "number", "layout__number")
    return [(key, f"{number} of layout {layout}") for key, number, layout in rows]


def _offcuts(keys: set[int]) -> list[tuple[int, str]]:
    rows = Offcut.objects.filter(pk__in=keys).values_list("pk", "length_mm", "width_mm")
    return [(key, f"{length} × {width} mm") for key, length, width in rows]


name_fields(
    offcut=Named("Offcut", by_row(_offcuts)),
    place=Named("Place"),
    cut=Named("Piece", by_row(_pieces)),
    section=Named("Section", by_row(_sections)),
    reason=Named("Why", by_words(dict(REASONS) | {"other": "something else"})),
    note=Named("Note"),
    lost=Named("Pieces lost", by_row(_pieces)),
    film=Named("Film lost"),
    unit=hidden(),
)


@act("cutting.section-begun")
def section_begun(call: Call) -> str:
    """Begin to cut a section at the machine.

    Field `section`: its key.
    """
    return begin_cutting(section_of(job_of(call), _key(call, "section")), who=call.who, at=call.at)


@act("cutting.section-cut")
def section_cut(call: Call) -> str:
    """Tick a section as cut.

    Field `section`: its key.
    """
    return tick_cut(section_of(job_of(call), _key(call, "section")), who=call.who, at=call.at)


@act("cutting.section-spoiled")
def section_spoiled(call: Call) -> str:
    """Tick a section as spoiled.

    Fields: `section`, its key; `reason`, a name in `REASONS`; `note`; `lost`, keys of the pieces of
    film that are lost, by commas ("all" for all of them); `film`, how much film is lost, in `unit`,
    "mm" or "in" ("" for the section's own length).
    """
    lost = call.fields.get("lost", "")
    return tick_spoiled(
        section_of(job_of(call), _key(call, "section")),
        reason=call.fields.get("reason", ""),
        note=call.fields.get("note", ""),
        lost=None if lost == "all" else {_whole(part) for part in lost.split(",") if part},
        film_mm=_film_mm(call),
        who=call.who,
        at=call.at,
    )


@act("cutting.weeded")
def weeded(call: Call) -> str:
    """Tick film as weeded.

    Field `cut`: the key of one piece of film; or `section`: all of it that is not weeded yet.
    """
    job = job_of(call)
    if call.fields.get("cut"):
        cuts = [cut_of(job, _key(call, "cut"))]
    else:
        section = section_of(job, _key(call, "section"))
        rows = section.cuts.filter(state=Cut.State.CUT)
        cuts = list(rows.select_related("section__layout__job", "piece", "weeded_by"))
    return tick_weeded(cuts, who=call.who, at=call.at)


@act("cutting.untick")
def untick(call: Call) -> str:
    """Take a tick back.

    Field `section`: it is not cut, or not spoiled, after all; or `cut`: not weeded.
    """
    job = job_of(call)
    if call.fields.get("cut"):
        return take_back_weeded(cut_of(job, _key(call, "cut")), who=call.who, at=call.at)
    section = section_of(job, _key(call, "section"))
    return take_back_section(section, who=call.who, at=call.at)


@act("cutting.offcut-kept")
def offcut_kept(call: Call) -> str:
    """Keep what a section leaves in stock.

    Fields: `offcut`, its key; `place`, where it lies.
    """
    offcut = offcut_of(job_of(call), _key(call, "offcut"))
    return keep_offcut(offcut, place=call.fields.get("place", ""), who=call.who, at=call.at)


@act("cutting.offcut-thrown")
def offcut_thrown(call: Call) -> str:
    """Throw away what a section leaves.

    Field `offcut`: its key.
    """
    return throw_offcut(offcut_of(job_of(call), _key(call, "offcut")), who=call.who, at=call.at)


@act("cutting.offcut-open")
def offcut_open(call: Call) -> str:
    """Take back that an offcut was kept or thrown away.

    Field `offcut`: its key.
    """
    return reopen_offcut(offcut_of(job_of(call), _key(call, "offcut")), who=call.who)


def _key(call: Call, name: str) -> int:
    return _whole(call.fields.get(name, ""))


def _whole(text: str) -> int:
    text = text.strip()
    if not (text.isascii() and text.isdigit() and len(text) <= _MOST_DIGITS):
        raise InputError("The tap does not say what it is about; open the page anew.")
    return int(text)


def _film_mm(call: Call) -> int | None:
    text = call.fields.get("film", "").strip().replace(",", ".")
    if not text:
        return None
    try:
        number = float(text)
        return round(number * (INCH_MM if call.fields.get("unit") == "in" else 1.0))
    except (ValueError, OverflowError) as error:
        raise InputError("Write how much film is lost as a number.") from error
