"""`layflat photo`: from photographs of a hand-made template to a drawing."""

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from layflat.base import Report, SettingError, counted, part_of
from layflat.cli.console import (
    FILE,
    hand_out,
    json_option,
    progress_shown,
    report_option,
    require_outputs,
)

if TYPE_CHECKING:
    from layflat.photo import Reading, Span

_RULE = re.compile(r"(\d+)=([\d.]+)(a?)")
_TAPE = re.compile(r"(\d+),(\d+)=([\d.]+)")


@click.command("photo")
@click.argument("pictures", type=FILE, nargs=-1, required=True)
@click.option("-o", "--output", type=FILE, required=True, help="The drawing: .dxf or .svg.")
@click.option(
    "--ruler",
    "rulers",
    multiple=True,
    metavar="SHEET=MM",
    help="What a steel rule says of a sheet's long printed rule; SHEET=MMa of its short one.",
)
@click.option(
    "--tape",
    "tapes",
    multiple=True,
    metavar="SHEET,SHEET=MM",
    help="A tape's length between the small crosses of two sheets on the table.",
)
@click.option(
    "--follow",
    type=click.Choice(["auto", "line", "edge"]),
    default="auto",
    show_default=True,
    help="The outline is the pen's line, or the edge of the sheet itself.",
)
@click.option(
    "--light-ink", is_flag=True, help="The pen is lighter than the sheet, as on dark film."
)
@click.option("--name", default="template", show_default=True, help="What the piece is called.")
@report_option
@json_option
def command(
    pictures: tuple[Path, ...],
    output: Path,
    rulers: tuple[str, ...],
    tapes: tuple[str, ...],
    follow: str,
    light_ink: bool,
    name: str,
    report_path: Path | None,
    as_json: bool,
) -> None:
    """Turn PICTURES of a template inside the printed frame into a drawing at true size.

    Print the frame with `layflat frame`. JPEG, PNG and HEIC are read; several pictures of one
    frame are joined. The report says how exact the lines are and where a person should look.

    \b
    Examples:
      layflat photo one.jpg --ruler 1=200.2 --ruler 4=200.1 -o hood.dxf
      layflat photo left.heic right.heic --tape 1,5=1382 -o hood.dxf --report hood.json
      layflat photo film.jpg --ruler 1=200.2 --light-ink -o hood.dxf
    """
    from layflat.pattern import curve_length_mm, dxf_text, svg_text
    from layflat.photo import drawing_of, load_photo, measure, trace

    require_outputs(output, report_path, inputs=pictures, suffixes=(".dxf", ".svg"))
    readings, spans = _readings(rulers), _spans(tapes)
    with progress_shown() as progress:
        photos = [load_photo(path) for path in pictures]
        measured = measure(
            photos, readings=readings, spans=spans, progress=part_of(progress, start=0, end=0.5)
        )
        traced = trace(
            measured.plane,
            views=measured.views,
            follow=follow,  # type: ignore[arg-type]
            light_ink=light_ink,
            progress=part_of(progress, start=0.5, end=1.0),
        )
    drawing = drawing_of(traced, name=name)
    text = svg_text(drawing) if output.suffix.lower() == ".svg" else dxf_text(drawing)
    widest = max(float(curve.interval_mm.max()) for curve in traced.curves)
    lengths = [curve_length_mm(curve.curve) for curve in traced.curves]
    places = [
        {"curve": number + 1, "start_mm": each.start_mm, "end_mm": each.end_mm, "why": each.why}
        for number, curve in enumerate(traced.curves)
        for each in curve.unsure
    ]
    report = Report(
        kind="photo",
        inputs=Report.hashes(*pictures),
        results={
            "sheets": list(measured.sheets),
            "reprojection_px": measured.reprojection_px,
            "repeat_mm": measured.repeat_mm,
            "scale": measured.scale.scale,
            "scale_doubt": measured.scale.doubt,
            "tilts_deg": measured.tilts_deg.tolist(),
            "mm_per_px": measured.plane.mm_per_px,
            "curves": [curve.kind for curve in traced.curves],
            "lengths_mm": lengths,
            "widest_interval_mm": widest,
            "unsure": places,
            "landmarks": len(traced.landmarks),
        },
        warnings=(*measured.notes, *drawing.notes),
    )
    looks = [
        f"look at curve {each['curve']} from {each['start_mm']:.0f} to {each['end_mm']:.0f} mm: "
        f"{each['why']}"
        for each in places
    ]
    landmarks = counted(len(traced.landmarks), "landmark")
    found = f"{counted(len(traced.curves), 'curve')}, {landmarks}"
    exact = f"lines to within {widest:.2f} mm, lengths to {200 * measured.scale.doubt:.2f} %"
    hand_out(
        report,
        lines=[
            f"{output}: {found}; {exact} (95 of 100).",
            *looks,
        ],
        as_json=as_json,
        report_path=report_path,
        texts={output: text},
    )


def _readings(rulers: tuple[str, ...]) -> list["Reading"]:
    from layflat.photo import Reading

    found = []
    for told in rulers:
        match = _RULE.fullmatch(told.strip())
        if match is None:
            raise SettingError(f"--ruler {told} cannot be read; write as 3=200.1, or 3=80.1a.")
        sheet, mm, across = match.groups()
        found.append(Reading(sheet=int(sheet), mm=_number(mm, told), across=bool(across)))
    return found


def _spans(tapes: tuple[str, ...]) -> list["Span"]:
    from layflat.photo import Span

    found = []
    for told in tapes:
        match = _TAPE.fullmatch(told.strip())
        if match is None:
            raise SettingError(f"--tape {told} cannot be read; write as 1,5=1382.")
        first, second, mm = match.groups()
        found.append(Span(first=int(first), second=int(second), mm=_number(mm, told)))
    return found


def _number(text: str, told: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise SettingError(f"{told}: {text} is no length in millimetres.") from None
