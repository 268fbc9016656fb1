"""The work of `layflat propose`: a start for a template from patterns of other cars."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from layflat.base import InputError, Report
from layflat.job.done import Done
from layflat.job.single_drawing import parse_answers
from layflat.pattern import Drawing, Pattern, dxf_text, read_drawing, svg_text
from layflat.revise import Known, Proposal, pairs_of, propose, start_from, with_pairs

_MOST_KNOWN = 200
_SHOWN = 5


def propose_start(
    path: Path,
    known_paths: Sequence[Path],
    *,
    piece: str = "",
    name: str = "",
    mirror: bool = False,
    landmarks: bool = True,
    answers: Sequence[str] = (),
) -> Done:
    """The nearest of the known pieces, laid on the template in the drawing at *path*.

    Args:
        path: the template (.dxf, .svg).
        known_paths: drawings of pieces of other cars; every piece in them counts.
        piece: which piece of the template's drawing.
        name: what the result is called; "" for the template's name.
        mirror: whether a piece may serve mirrored.
        landmarks: whether corners and cut-outs that lie near each other deform it.
        answers: to what the drawings ask; see `layflat.job.parse_answers`.

    Raises:
        InputError: a drawing cannot be used, or there is nothing to start from.
    """
    given = parse_answers(answers)
    template = _one(read_drawing(path, answers=given).patterns, piece, path.name)
    known = [
        Known(f"{each.stem}: {pattern.name}", pattern)
        for each in known_paths
        for pattern in read_drawing(each, answers=given).patterns
    ]
    if len(known) > _MOST_KNOWN:
        raise InputError(
            f"There are {len(known)} known pieces; {_MOST_KNOWN} are compared at most."
        )
    proposals = propose(template, known, may_mirror=mirror)
    first = proposals[0]
    pairs = pairs_of(first, template) if landmarks else ()
    goals = {pair.name: pair.template_mm for pair in pairs}
    started = start_from(with_pairs(first, pairs), goals)
    pattern = replace(started.pattern, name=name or template.name)
    drawing = Drawing(patterns=(pattern,))
    others = [f"  then {each.sentence()}" for each in proposals[1:_SHOWN]]
    taken = [f"taken as the same: {pair.name}, {pair.apart_mm:.1f} mm apart" for pair in pairs]
    sentence = first.sentence()
    return Done(
        texts={".dxf": dxf_text(drawing), ".svg": svg_text(drawing)},
        report=Report(
            kind="propose",
            inputs=Report.hashes(path, *known_paths),
            results={
                "template": template.name,
                "proposals": [_results(each) for each in proposals],
                "pairs": [vars(pair) for pair in pairs],
                "piece": pattern.name,
            },
            warnings=started.said,
        ),
        sentence=sentence,
        lines=(sentence, *others, *taken),
    )


def _results(proposal: Proposal) -> dict[str, object]:
    lie = proposal.alignment
    return {
        "known": proposal.known.name,
        "mirrored": lie.mirrored,
        "turn_deg": lie.turn_deg,
        "x_mm": lie.x_mm,
        "y_mm": lie.y_mm,
        "rms_mm": lie.rms_mm,
        "most_mm": lie.most_mm,
    }


def _one(patterns: tuple[Pattern, ...], piece: str, where: str) -> Pattern:
    if not piece and len(patterns) == 1:
        return patterns[0]
    found = next((pattern for pattern in patterns if pattern.name == piece), None)
    if found is None:
        known = ", ".join(f"“{pattern.name}”" for pattern in patterns[:12])
        raise InputError(f"{where} holds the pieces {known}; say which with --piece.")
    return found
