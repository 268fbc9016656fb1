"""The real computation of a cover, by the job's recipe: what its row in the database will say."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from layflat.base import (
    FitError,
    FloatArray,
    InputError,
    LayflatError,
    Progress,
    Report,
    counted,
    part_of,
    report_json,
)
from layflat.film import generic_film
from layflat.job import Computed, Piece, compute, computed_results, covered_words, laying_order
from layflat.papers import (
    layout_height_mm,
    layout_picture,
    panel_in_sentence,
    panel_title,
    summarise,
)
from layflat.pattern import STRAIN_UNKNOWN, Pattern, pattern_area_mm2, pattern_json
from layflat.surface import BodyInfo, Mesh
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.mended import MendedScan, mended_scan
from layflat.web.bodies.words import KEEP_OUT_WORDS
from layflat.web.corrections.reading import revisions_of
from layflat.web.cover.advice import advice_for
from layflat.web.cover.choices import Choices, from_json, to_json
from layflat.web.cover.filmed import filmed_files
from layflat.web.cover.fit_details import blank_json, pair_json, wraps_json
from layflat.web.cover.fit_files import fit_files
from layflat.web.cover.kept_pieces import kept_files, kept_patterns, kept_values
from layflat.web.cover.order import DEFAULTS, film_order, usual_machine
from layflat.web.cover.panels import surfaces_in
from layflat.web.cover.planned import plan_files
from layflat.web.cover.price import minutes_json
from layflat.web.cover.relieved import refused_of, reliefs_json
from layflat.web.cover.sentences import about_panel, without_places
from layflat.web.files.models import StoredFile
from layflat.web.files.store import keep

TASK: Final = "cover.compute"
KEEPS: Final = "patterns"
"""In the inputs of a computation that keeps each piece's pattern; older ones are not taken."""
_NO_PANELS: Final = BodyInfo("")
_LAYOUT_MM = 265.0
_LAYOUT_MOST_MM = 180.0
_MOST_BYTES = 200_000_000


@dataclass(frozen=True)
class _Made:
    """A file that was made and is still to be kept."""

    data: bytes
    name: str
    media_type: str


@dataclass
class _Files:
    """Files by where their hash goes in the result; all are kept at the end, or none."""

    made: list[tuple[dict[str, Any], str, _Made]] = field(default_factory=list)

    def add(self, into: dict[str, Any], key: str, made: _Made) -> None:
        self.made.append((into, key, made))

    def keep_all(self) -> None:
        for into, key, made in self.made:
            stored = keep(
                [made.data],
                name=made.name,
                media_type=made.media_type,
                most_bytes=_MOST_BYTES,
                who=None,
            )
            into[key] = stored.sha256


def compute_cover(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """Pieces, layout, cut and minutes of a cover, with all that its pages show.

    Args:
        inputs: `scan`, `unit`, `panels`, `mended` and `light` (see
            `layflat.web.cover.measure.revision_inputs`), all "" where every piece is a kept
            pattern; `choices`; `kept`, what the revisions of the kept patterns say (see
            `layflat.web.cover.kept_pieces.kept_facts`), left out where there are none;
            `corrections`, what fit notes made of the pieces (see
            `layflat.web.corrections.reading.facts_for`), left out where there are none;
            `roll_width_mm`; `seconds`, how long the layout is searched for; `keeps` is `KEEPS`.
        progress: told what is being done.

    Returns:
        what `Outcome` and `Piece` hold, files by their SHA-256: `roll_width_mm`, `film_mm`,
        `bound_mm`, `minutes`, `notes`, `shown`, `lines`, `picture`, `layout`, `report`, and
        `pieces`, a list in the order of cutting. Where every piece is a kept pattern there is no
        `shown`, `lines` and `picture`, and no `surface` of a piece that is one.

    Raises:
        LayflatError: it cannot be done; the sentence says why, and which panel it is about.
    """
    choices = from_json(inputs["choices"])
    if not choices.panels:
        raise InputError("Nothing is covered yet; choose a panel first.")
    scan, info = None, _NO_PANELS
    if choices.on_surface:
        scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.05))
        info = panels_of(StoredFile.objects.get(sha256=inputs["panels"]))
    computed = _computed(inputs, choices, scan, info, part_of(progress, start=0.05, end=0.75))
    pieces = _in_cut_order(computed)
    order = [
        *laying_order(computed.pieces, up=info.up),
        *(pattern.name for pattern in computed.kept),
    ]
    turns = {name: turn for turn, name in enumerate(order, start=1)}
    files = _Files()
    result: dict[str, Any] = {
        "roll_width_mm": computed.layout.stock.width_mm,
        "film_mm": computed.layout.length_mm,
        "bound_mm": computed.layout.lower_bound_mm,
        "minutes": minutes_json(computed.minutes),
        "notes": list(_notes(computed)),
        "pieces": [],
    }
    mesh = None if scan is None else scan.mesh
    for i, (number, piece) in enumerate(pieces):
        progress(f"drawing the {panel_in_sentence(piece.name)}", 0.75 + 0.13 * i / len(pieces))
        if isinstance(piece, Pattern):
            facts = inputs["kept"][piece.name]
            found = kept_values(number, piece, facts, lay=turns[piece.name])
            found["details"] |= _correction(computed, piece.name)
            _add_kept_files(found, piece, files)
            result["pieces"].append(found)
            continue
        found = _piece(
            number, piece, info, mesh, files, refused=refused_of(choices, piece.panel.name)
        )
        found["details"]["lay"] = turns[piece.name]
        found["details"]["blank"] = blank_json(piece, computed)
        found["details"] |= _correction(computed, piece.name)
        result["pieces"].append(found)
    if scan is not None:
        progress("drawing the vehicle with its film", 0.88)
        body = surfaces_in(inputs["light"])["body"]
        on_surface = [(number, one) for number, one in pieces if not isinstance(one, Pattern)]
        filmed = filmed_files(body, on_surface, info)
        files.add(result, "shown", _Made(filmed.surfaces, "cover.glb", "model/gltf-binary"))
        files.add(result, "lines", _Made(filmed.lines, "cover.json", "application/json"))
        files.add(result, "picture", _Made(filmed.picture, "cover.png", "image/png"))
    files.add(result, "layout", _Made(_layout_svg(computed), "layout.svg", "image/svg+xml"))
    hashes = [inputs[key] for key in ("scan", "panels") if scan is not None]
    named = {StoredFile.objects.get(sha256=sha256).name: sha256 for sha256 in hashes}
    named |= {f"{name}.json": facts["pattern"] for name, facts in inputs.get("kept", {}).items()}
    report = _report(inputs, choices, computed, scan, named)
    files.add(result, "report", _Made(report.encode(), "report.json", "application/json"))
    progress("keeping what was made", 0.97)
    files.keep_all()
    return result


def _computed(
    inputs: Mapping[str, Any],
    choices: Choices,
    scan: MendedScan | None,
    info: BodyInfo,
    progress: Progress,
) -> Computed:
    width_mm = float(inputs["roll_width_mm"])
    order = film_order(choices, roll_width_mm=width_mm, seconds=float(inputs["seconds"]))
    titles = {panel.name: panel_title(panel.name) for panel in info.panels}

    def told(step: str, fraction: float) -> None:
        name, colon, what = step.partition(": ")
        if name == "laying out":
            step = "laying the pieces out on the roll"
        elif colon and name in titles:
            step = f"{titles[name]}: {what}"
        progress(step, fraction)

    try:
        return compute(
            order,
            None if scan is None else scan.mesh,
            info,
            film=generic_film(),
            machine=usual_machine(roll_width_mm=width_mm),
            kept=tuple(kept_patterns(choices).values()),
            revisions=revisions_of(inputs.get("corrections", {})),
            progress=told,
        )
    except LayflatError as error:
        sentence = about_panel(error)
        for name, title in titles.items():
            sentence = sentence.replace(f"“{name}”", f"“{title}”")
        if isinstance(error, FitError):
            sentence = f"{sentence} Cover it up to a line, or use another roll."
        raise type(error)(sentence) from error


def _in_cut_order(computed: Computed) -> tuple[tuple[int, Piece | Pattern], ...]:
    """All pieces with their numbers; those that are kept patterns are that and no more."""
    pieces: dict[str, Piece | Pattern] = {piece.name: piece for piece in computed.pieces}
    pieces |= {pattern.name: pattern for pattern in computed.kept}
    return tuple((item.number, pieces[item.pattern.name]) for item in computed.layout.placements)


def _notes(computed: Computed) -> Iterator[str]:
    film = generic_film()
    yield (
        f"Computed for “{film.name}”, whose limits are assumptions: "
        f"{100 * film.stretch_limit:g}\u00a0% of stretch go unnoticed, "
        f"{100 * film.finger_limit:g}\u00a0% of compression lie flat."
    )
    if computed.kept:
        count = counted(len(computed.kept), "piece")
        yield (
            f"{count} from kept patterns, laid after the others: how high they sit is not known. "
            f"{STRAIN_UNKNOWN}"
        )
    yield from computed.layout.notes


def _add_kept_files(found: dict[str, Any], pattern: Pattern, files: _Files) -> None:
    flat, drawn = kept_files(pattern)
    files.add(found, "flat", _Made(flat, f"{pattern.name}.json", "application/json"))
    files.add(found, "map", _Made(drawn, f"{pattern.name}.svg", "image/svg+xml"))
    _add_pattern(found, pattern, files)


def _add_pattern(found: dict[str, Any], pattern: Pattern, files: _Files) -> None:
    exact = json.dumps(pattern_json(pattern), allow_nan=False, separators=(",", ":"))
    made = _Made(exact.encode(), f"{pattern.name}-pattern.json", "application/json")
    files.add(found, "pattern", made)


def _piece(
    number: int,
    piece: Piece,
    info: BodyInfo,
    mesh: Mesh | None,
    files: _Files,
    *,
    refused: tuple[FloatArray, ...],
) -> dict[str, Any]:
    strain = summarise(piece.flat)
    made = fit_files(piece, forward=info.forward, up=info.up)
    found: dict[str, Any] = {
        "number": number,
        "panel": piece.name,
        "title": panel_title(piece.name),
        "is_part": piece.cover.line_mm is not None,
        "area_mm2": pattern_area_mm2(piece.pattern),
        "covered": covered_words(piece)[:400],
        "effort": strain.effort.value,
        "stretch": strain.stretch,
        "compression": strain.compression,
        "stretch_99": strain.stretch_99,
        "compression_99": strain.compression_99,
        "over_stretch": strain.over_stretch,
        "over_finger": strain.over_finger,
        "details": _details(piece),
        "warnings": list(advice_for(piece, made.flat)),
    }
    found["details"]["plan"], plan = plan_files(piece, info)
    if mesh is not None:
        found["details"]["reliefs"] = reliefs_json(piece, info, mesh, refused=refused)
    files.add(found, "plan", _Made(plan, f"{piece.name}-plan.svg", "image/svg+xml"))
    files.add(found, "surface", _Made(made.surface, f"{piece.name}.glb", "model/gltf-binary"))
    files.add(found, "flat", _Made(made.flat, f"{piece.name}.json", "application/json"))
    files.add(found, "map", _Made(made.map, f"{piece.name}.svg", "image/svg+xml"))
    _add_pattern(found, piece.pattern, files)
    return found


def _details(piece: Piece) -> dict[str, Any]:
    return {
        "edges": [
            {
                "name": record.name,
                "kind": record.kind.value,
                "finish": record.finish.finish.value,
                "distance_mm": record.finish.distance_mm,
                "length_mm": round(record.surface_length_mm, 1),
            }
            for record in piece.pattern.edges
        ],
        "free": [
            {"name": item.name or item.kind.value, "word": KEEP_OUT_WORDS[item.kind]}
            for item in piece.keep_outs
        ],
        "film_over": [
            {"name": name, "reason": reason} for name, reason in piece.cover.film_over.items()
        ],
        "panel": piece.panel.name,
        "wraps": wraps_json(piece),
        "pair": pair_json(piece),
        "stretch_limit": piece.flat.film.stretch_limit,
        "finger_limit": piece.flat.film.finger_limit,
    }


def _correction(computed: Computed, name: str) -> dict[str, Any]:
    """By which revision of its pattern a piece is cut; nothing where it is cut as computed."""
    applied = computed.applied.get(name)
    if applied is None:
        return {}
    return {
        "correction": {
            "number": applied.number,
            "apart_mm": round(applied.apart_mm, 2),
            "said": list(applied.said),
        }
    }


def _layout_svg(computed: Computed) -> bytes:
    layout = computed.layout
    height_mm = min(layout_height_mm(layout, width_mm=_LAYOUT_MM), _LAYOUT_MOST_MM)
    return layout_picture(layout, width_mm=_LAYOUT_MM, height_mm=height_mm).encode()


def _report(
    inputs: Mapping[str, Any],
    choices: Choices,
    computed: Computed,
    scan: MendedScan | None,
    files: Mapping[str, str],
) -> str:
    film = generic_film()
    machine = usual_machine(roll_width_mm=computed.layout.stock.width_mm)
    return report_json(
        Report(
            kind="cover",
            inputs=files,
            results={
                "unit": scan.unit if scan else "",
                "film": film.name,
                "machine": machine.name,
                "choices": to_json(choices),
                "roll_width_mm": computed.layout.stock.width_mm,
                **computed_results(computed),
            },
            seed=computed.layout.seed,
            defaults={
                **DEFAULTS,
                "stock.seconds": inputs["seconds"],
                "film": film.name,
                "machine": machine.name,
            },
            warnings=(
                *(scan.notes if scan else ()),
                *(
                    f"{piece.name}: {without_places(note)}"
                    for piece in computed.pieces
                    for note in piece.notes
                ),
                *computed.layout.notes,
            ),
        )
    )
