"""Finding the nearest patterns of other cars."""

from typing import Any, Final

import numpy as np

from layflat.base import Progress
from layflat.pattern import Pattern, pattern_area_mm2, pattern_cut_mm, sample
from layflat.web.patterns.keeping import kept_pattern

_MOST_LAID: Final = 40
_MOST_SHOWN: Final = 6
_PICTURE_SHARE: Final = 1e-3


def propose_starts(inputs: dict[str, Any], progress: Progress) -> dict[str, Any]:
    """The patterns that miss a template least.

    Of many, those are laid on it whose size and length of cut are nearest.

    Args:
        inputs: `template`, the SHA-256 of its pattern; `known`, rows of a revision's id, its
            pattern's SHA-256 and its words; `mirror`, whether one may serve mirrored.
        progress: told what is being done.

    Returns:
        `template`, its outline and cut-outs as flat lists of x and y; `looked_at`, how many were
        laid; `proposals`, the nearest first, each with how it lies, by how much it misses, its
        `lines`, and `pairs` of points that may be the same.

    Raises:
        LayflatError: a pattern cannot be read.
    """
    from layflat.revise import Known, pairs_of, propose

    template = kept_pattern(inputs["template"])
    rows = []
    for number, (revision, sha256, label) in enumerate(inputs["known"]):
        progress("looking at the known patterns", 0.2 * number / len(inputs["known"]))
        rows.append((revision, sha256, label, kept_pattern(sha256)))
    rows.sort(key=lambda row: _unlike(template, row[3]))
    found = []
    for number, (revision, sha256, label, pattern) in enumerate(rows[:_MOST_LAID]):
        progress("laying them on the template", 0.2 + 0.8 * number / min(_MOST_LAID, len(rows)))
        best = propose(template, [Known(label, pattern)], may_mirror=inputs["mirror"])[0]
        found.append((best, revision, sha256, label))
    found.sort(key=lambda item: item[0].alignment.rms_mm)
    return {
        "template": _lines(template),
        "looked_at": len(found),
        "proposals": [
            {
                "revision": revision,
                "pattern": sha256,
                "label": label,
                "sentence": best.sentence(),
                "turn_deg": best.alignment.turn_deg,
                "x_mm": best.alignment.x_mm,
                "y_mm": best.alignment.y_mm,
                "mirrored": best.alignment.mirrored,
                "rms_mm": best.alignment.rms_mm,
                "most_mm": best.alignment.most_mm,
                "lines": _lines(best.laid),
                "pairs": [
                    {
                        "name": pair.name,
                        "known": pair.known_mm,
                        "template": pair.template_mm,
                        "apart_mm": pair.apart_mm,
                    }
                    for pair in pairs_of(best, template)
                ],
            }
            for best, revision, sha256, label in found[:_MOST_SHOWN]
        ],
    }


def _unlike(one: Pattern, two: Pattern) -> float:
    """How unlike two patterns are in area and in length of cut, as a ratio's logarithm."""
    areas = np.log(pattern_area_mm2(one) / pattern_area_mm2(two))
    lengths = np.log(pattern_cut_mm(one) / pattern_cut_mm(two))
    return float(abs(areas) + abs(lengths))


def _lines(pattern: Pattern) -> list[list[float]]:
    extent = float(np.ptp(pattern.outline.points_mm, axis=0).max())
    found = []
    for curve in (pattern.outline, *pattern.cut_outs):
        points = sample(curve, deviation_mm=max(0.02, _PICTURE_SHARE * extent))
        found.append(np.vstack((points, points[:1])).round(2).ravel().tolist())
    return found
