"""What a tap changes: pure changes of choices, each checked against the panel it is for."""

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from layflat.base import InputError
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import EdgeKind
from layflat.web.cover.choices import (
    MAY_WRAP,
    MOST_REASON,
    RULES,
    WRAP_MM,
    Choices,
    KeptChoice,
    PanelChoice,
    Point,
    ending,
    to_json,
)
from layflat.web.cover.panels import EdgeFacts, PanelFacts
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_fine_length


@dataclass(frozen=True)
class Changed:
    """What a change came to.

    Attributes:
        choices: as they are then.
        says: what happened, a clause that follows the panel's title.
    """

    choices: Choices
    says: str


def cover_whole(choices: Choices, panel: PanelFacts) -> Changed:
    """All of a panel; its edges and keep-outs stay as they were chosen.

    Raises:
        InputError: the panel could not be cut out of its body.
    """
    require_surface(panel)
    before = surface_choice(choices, panel)
    return Changed(
        choices.with_panel(_recut(before, line_mm=(), keep_mm=None)), "covered as a whole"
    )


def cover_up_to(
    choices: Choices, panel: PanelFacts, *, line_mm: Sequence[Point], keep_mm: Point
) -> Changed:
    """A panel up to a line that is drawn on it; its edges and keep-outs stay as chosen."""
    require_surface(panel)
    before = surface_choice(choices, panel)
    after = _recut(before, line_mm=tuple(line_mm), keep_mm=keep_mm)
    return Changed(choices.with_panel(after), "covered up to a line")


def _recut(
    before: PanelChoice, *, line_mm: tuple[Point, ...], keep_mm: Point | None
) -> PanelChoice:
    """Another part of the panel; cuts and seams that were for the part before are given up."""
    if (line_mm, keep_mm) == (before.line_mm, before.keep_mm):
        return before
    return PanelChoice(
        panel=before.panel,
        line_mm=line_mm,
        keep_mm=keep_mm,
        edges=before.edges,
        film_over=before.film_over,
    )


def require_surface(panel: PanelFacts) -> None:
    """Refuse a panel that film cannot be made for from the surface.

    Raises:
        InputError: it has none.
    """
    if panel.is_kept:
        raise InputError(
            f"The {panel.in_sentence} comes from a kept pattern and knows no surface: it is "
            "covered as the pattern is. Its edges are changed on the pattern's own page."
        )
    if not panel.mesh:
        raise InputError(
            f"The {panel.in_sentence} cannot be cut out of the scan; its body's page says why."
        )


def surface_choice(choices: Choices, panel: PanelFacts) -> PanelChoice:
    """What is chosen for a panel on its surface; all of it where it is bare or a kept pattern."""
    found = choices.of(panel.name)
    return PanelChoice(panel=panel.name) if found is None or found.kept else found


def cover_by_pattern(choices: Choices, panel: PanelFacts, *, kept: KeptChoice) -> Changed:
    """A panel by its kept pattern, in the place of what was chosen for it before."""
    return Changed(
        choices.with_panel(PanelChoice(panel=panel.name, kept=kept)),
        f"covered by its kept pattern, revision {kept.revision}",
    )


def leave_bare(choices: Choices, panel: PanelFacts) -> Changed:
    """A panel without film."""
    return Changed(choices.without(panel.name), "left bare")


def end_edge(
    choices: Choices, panel: PanelFacts, *, edge: str, finish: EdgeFinish, shop: Shop | None = None
) -> Changed:
    """How film ends at one edge.

    Args:
        choices: before.
        panel: that has the edge.
        edge: its name.
        finish: how film shall end there.
        shop: whose unit it is said in; millimetres without one.

    Raises:
        InputError: the panel is bare or lacks the edge, or film cannot end there so.
    """
    before, facts = covered_choice(choices, panel), panel.edge(edge)
    _require_possible(facts, finish)
    edges = {name: item for name, item in before.edges.items() if name != edge}
    if finish != RULES[facts.kind]:
        edges[edge] = finish
    says = f"edge “{edge}” {finish_words(finish, shop)}"
    return Changed(choices.with_panel(replace(before, edges=edges)), says)


def wrap_free_edges(choices: Choices, panel: PanelFacts) -> Changed:
    """Film wrapped round every free edge of a panel that it is not wrapped round yet.

    Raises:
        InputError: the panel is bare.
    """
    before = covered_choice(choices, panel)
    edges = dict(before.edges)
    for edge in panel.edges:
        is_wrapped = finish_of(before, edge).finish is Finish.WRAP
        if edge.kind is EdgeKind.OPEN and edge.name and not is_wrapped:
            edges[edge.name] = EdgeFinish(Finish.WRAP, WRAP_MM)
    says = "all free edges wrapped round"
    return Changed(choices.with_panel(replace(before, edges=edges)), says)


def film_over(choices: Choices, panel: PanelFacts, *, keep_out: str, reason: str) -> Changed:
    """Film over a keep-out, for a reason.

    Raises:
        InputError: the panel is bare or lacks the keep-out, or the reason is missing or too long.
    """
    before = covered_choice(choices, panel)
    panel.keep_out(keep_out)
    reason = " ".join(reason.split())
    if not reason:
        raise InputError(f"Say why film may go over “{keep_out}”; the reason stays in the record.")
    if len(reason) > MOST_REASON:
        raise InputError(f"The reason has {len(reason)} letters; {MOST_REASON} fit.")
    over = {**before.film_over, keep_out: reason}
    says = f"film over “{keep_out}”: {reason}"
    return Changed(choices.with_panel(replace(before, film_over=over)), says)


def stay_free(choices: Choices, panel: PanelFacts, *, keep_out: str) -> Changed:
    """A keep-out without film, as is the rule.

    Raises:
        InputError: the panel is bare or lacks the keep-out.
    """
    before = covered_choice(choices, panel)
    panel.keep_out(keep_out)
    over = {name: reason for name, reason in before.film_over.items() if name != keep_out}
    says = f"“{keep_out}” stays free"
    return Changed(choices.with_panel(replace(before, film_over=over)), says)


def covered_choice(choices: Choices, panel: PanelFacts) -> PanelChoice:
    """What is chosen for a panel that is covered.

    Raises:
        InputError: it is bare.
    """
    found = choices.of(panel.name)
    if found is None:
        raise InputError(f"The {panel.in_sentence} is bare; cover it first.")
    if found.kept is not None:
        raise InputError(
            f"The {panel.in_sentence} is covered by a kept pattern, whose edges and keep-outs are "
            "its own; they are changed on the pattern's page."
        )
    return found


def _require_possible(edge: EdgeFacts, finish: EdgeFinish) -> None:
    if finish.finish is Finish.WRAP and edge.kind not in MAY_WRAP:
        raise InputError(
            f"Film cannot be wrapped round the edge “{edge.name}”: it is {edge.kind.value}."
        )
    if finish.finish is Finish.FLUSH and edge.kind is not EdgeKind.INNER:
        raise InputError(f"Film ends short of the edge “{edge.name}” or is wrapped round it.")


def finish_of(choice: PanelChoice, edge: EdgeFacts) -> EdgeFinish:
    """How film ends at an edge, by choice or by the rules."""
    return choice.edges.get(edge.name, RULES[edge.kind])


def wanted_finish(
    choice: PanelChoice, edge: EdgeFacts, *, finish: str, distance_mm: float | None
) -> EdgeFinish:
    """How film shall end at an edge.

    Args:
        choice: as it is.
        edge: which edge.
        finish: a name of `Finish`.
        distance_mm: as it stands in the form, or None; it goes with the way that film ended so far,
            so that another way begins with its own usual distance.

    Raises:
        InputError: it is no such way, or the distance is out of range.
    """
    before = finish_of(choice, edge)
    if finish != before.finish.value:
        distance_mm = _usual_mm(edge, finish)
    return ending({"finish": finish, "distance_mm": distance_mm})


def _usual_mm(edge: EdgeFacts, finish: str) -> float:
    if finish == Finish.WRAP:
        return WRAP_MM
    rule = RULES[edge.kind]
    return rule.distance_mm if rule.finish is Finish.SHORT else RULES[EdgeKind.GAP].distance_mm


def finish_words(finish: EdgeFinish, shop: Shop | None = None) -> str:
    """How film ends, in words; in the shop's unit, or in millimetres without one."""
    mm = finish.distance_mm
    length = shown_fine_length(mm, shop) if shop is not None else f"{mm:g} mm"
    if finish.finish is Finish.WRAP:
        return f"wrapped round by {length}"
    if finish.finish is Finish.SHORT:
        return f"ends {length} short"
    return "ends at the edge"


def extent_seen(choices: Choices, panel: str) -> str:
    """A short word for how much of a panel is covered, which forms carry."""
    found = choices.of(panel)
    if found is not None and found.kept is not None:
        return short_word([found.kept.revision, found.kept.pattern])
    return short_word(None if found is None else [found.line_mm, found.keep_mm])


def panel_seen(choices: Choices, panel: str) -> str:
    """A short word for all that is chosen for a panel."""
    return short_word(panel_json(choices, panel))


def edge_seen(choices: Choices, panel: str, edge: str) -> str:
    """A short word for how film ends at an edge; "" in it where the rules say so."""
    found = choices.of(panel)
    finish = None if found is None else found.edges.get(edge)
    return short_word(None if finish is None else [finish.finish.value, finish.distance_mm])


def keep_out_seen(choices: Choices, panel: str, keep_out: str) -> str:
    """A short word for whether film goes over a keep-out, and why."""
    found = choices.of(panel)
    return short_word(None if found is None else found.film_over.get(keep_out, ""))


def panel_json(choices: Choices, panel: str) -> dict[str, Any] | None:
    """The JSON of what is chosen for one panel; None where it is bare."""
    found = choices.of(panel)
    if found is None:
        return None
    (one,) = to_json(Choices((found,)))["panels"]
    kept: dict[str, Any] = one
    return kept


def short_word(value: Any) -> str:
    """A short word for a value of JSON, which forms carry to say what they saw."""
    text = json.dumps(value, sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]
