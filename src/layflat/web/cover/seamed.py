"""One piece of a panel against two: asked for by a person, computed beside the cover."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np

from layflat.base import InputError, Progress, part_of
from layflat.film import flatten, generic_film
from layflat.fit import Outcome, propose_seams
from layflat.job import whole_region
from layflat.web.bodies.contents import panels_of
from layflat.web.bodies.mended import mended_scan
from layflat.web.cover.choices import Choices, PanelChoice, from_json, to_json
from layflat.web.cover.measure import revision_inputs
from layflat.web.cover.models import Cover
from layflat.web.cover.order import FINGER_AVERSION, film_order
from layflat.web.cover.relieved import path_json
from layflat.web.files.models import StoredFile
from layflat.web.people.models import Person, Shop
from layflat.web.work.models import Computation
from layflat.web.work.tasks import ask, key_of

TASK: Final = "cover.seams"


def compare_seams(inputs: Mapping[str, Any], progress: Progress) -> dict[str, Any]:
    """One piece of a panel, and what seams would make of it.

    Args:
        inputs: `scan`, `unit`, `panels`, `mended` and `light` (see
            `layflat.web.cover.measure.revision_inputs`); `choices`, of the one panel;
            `roll_width_mm`.
        progress: told what is being done.

    Returns:
        ``{"needed": bool, "sentences": [words], "whole": way, "options": [{**way, "path":
        [[x, y, z], …], "flat": [[x, y], …], "words"}, …]}``; a way is ``{"stretch", "over",
        "excess_mm", "film_mm2", "fits_roll", "seam_mm", "visible_mm", "minutes"}``, where stretch
        is the greatest and over the share of the film that is stretched beyond its limit.

    Raises:
        LayflatError: it cannot be done; the sentence says why.
    """
    (choice,) = from_json(inputs["choices"]).panels
    scan = mended_scan(inputs, part_of(progress, start=0.0, end=0.1))
    info = panels_of(StoredFile.objects.get(sha256=inputs["panels"]))
    panel = info.panel(choice.panel)
    if panel is None:
        raise InputError(f"The body has no panel “{choice.panel}” any more.")
    roll_mm = float(inputs["roll_width_mm"])
    (cover,) = film_order(Choices((choice,)), roll_width_mm=roll_mm).covers
    progress("cutting the panel out", 0.1)
    region = whole_region(cover, panel, scan.mesh)
    flat = flatten(
        region.mesh,
        generic_film(),
        finger_aversion=FINGER_AVERSION,
        progress=part_of(progress, start=0.15, end=0.35),
    )
    found = propose_seams(
        region,
        flat,
        roll_mm=roll_mm,
        refused=[np.array(path) for path in choice.refused_seams],
        even_if_not_needed=True,
        up=info.up,
        forward=info.forward,
        body=scan.mesh,
        progress=part_of(progress, start=0.35, end=1.0),
    )
    return {
        "needed": found.needed,
        "sentences": list(found.sentences),
        "whole": _way(found.whole),
        "options": [
            {
                **_way(option.outcome),
                **path_json(flat, option.paths_mm[0]),
                "words": option.reasons[0],
            }
            for option in found.options
        ],
    }


def _way(outcome: Outcome) -> dict[str, Any]:
    judged = outcome.judged
    return {
        "stretch": round(judged.greatest_stretch - 1.0, 4),
        "over": round(judged.share_over_stretch_limit, 4),
        "excess_mm": round(judged.finger_excess_mm, 1),
        "film_mm2": round(outcome.film_mm2),
        "fits_roll": outcome.fits_roll,
        "seam_mm": round(outcome.seam_mm, 1),
        "visible_mm": round(outcome.visible_seam_mm, 1),
        "minutes": round(outcome.minutes),
    }


def ask_seams(cover: Cover, panel: str, *, shop: Shop, who: Person | None) -> Computation:
    """Ask for the comparison for one panel of a cover; answers at once.

    Raises:
        InputError: the panel is bare, or the body is not prepared.
    """
    return ask(TASK, seam_inputs(cover, panel, shop=shop), who=who)


def asked_seams(cover: Cover, panel: str, *, shop: Shop) -> Computation | None:
    """The comparison for a panel as it is covered now, or None where nobody asked for it."""
    try:
        key = key_of(TASK, seam_inputs(cover, panel, shop=shop))
    except InputError:
        return None
    return Computation.objects.filter(key=key).first()


def seam_inputs(cover: Cover, panel: str, *, shop: Shop) -> dict[str, Any]:
    """What the comparison depends on: how much of the panel is covered, and refused seams.

    Raises:
        InputError: the panel is bare, or the body is not prepared.
    """
    choice = from_json(cover.choices).of(panel)
    if choice is None:
        raise InputError("This panel is bare now; there is nothing to compare.")
    if choice.kept is not None:
        raise InputError("This piece comes from a kept pattern; seams are proposed on a surface.")
    alone = PanelChoice(
        panel=panel,
        line_mm=choice.line_mm,
        keep_mm=choice.keep_mm,
        refused_seams=choice.refused_seams,
    )
    return {
        **revision_inputs(cover.body),
        "choices": to_json(Choices((alone,))),
        "roll_width_mm": shop.roll_width_mm,
    }
