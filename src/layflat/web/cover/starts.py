"""What a new alternative begins from: nothing, the usual parts of a vehicle, or a saved cover."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from layflat.base import InputError
from layflat.pattern import Finish
from layflat.web.bodies.models import Revision
from layflat.web.cover.choices import MAY_WRAP, Choices, KeptChoice, PanelChoice
from layflat.web.cover.cuts import KINDS
from layflat.web.cover.panels import BodyPanels, PanelFacts, panels_on

_NOSE: Final = ("hood", "bumper front", "front bumper", "fender", "lamp", "mirror")
_DOORS: Final = ("door", "sliding door", "rocker")
"""How the names of panels begin; common practice, no source. Names that begin otherwise belong to
the whole vehicle only."""


@dataclass(frozen=True)
class Start:
    """A starting point: its name in forms, its title, and the choices."""

    name: str
    title: str
    choices: Choices


def usual_starts(panels: BodyPanels) -> list[Start]:
    """The usual parts of a vehicle, as far as the body has panels for them.

    One that comes to the same as an earlier one is left out.
    """
    whole = tuple(panel for panel in panels.panels.values() if panel.mesh)
    nose = tuple(panel for panel in whole if _begins(panel, _NOSE))
    doors = tuple(panel for panel in whole if _begins(panel, _DOORS))
    found: list[Start] = []
    for name, title, covered in (
        ("nose", "Nose only", nose),
        ("nose-doors", "Nose and doors", nose + doors if nose and doors else ()),
        ("whole", "Whole vehicle", whole),
    ):
        choices = Choices(tuple(PanelChoice(panel=panel.name) for panel in covered))
        if covered and choices not in [start.choices for start in found]:
            found.append(Start(name, title, choices))
    kept = Choices(
        tuple(
            PanelChoice(panel=item.kept.name, kept=KeptChoice(item.number, item.pattern.sha256))
            for item in panels.kept
        )
    )
    if kept.panels:
        found.append(Start("kept", "Every kept pattern", kept))
    return found


def _begins(panel: PanelFacts, words: tuple[str, ...]) -> bool:
    plain = panel.name.lower().replace("-", " ").replace("_", " ")
    return plain.startswith(words)


@dataclass(frozen=True)
class Carried:
    """Choices taken over to another revision, and sentences on what could not be."""

    choices: Choices
    left_out: tuple[str, ...]


def carried_over(
    choices: Choices, *, source: Revision, target: Revision, can_trace: Callable[..., bool]
) -> Carried:
    """Choices of one revision for another of the same body.

    A line is kept where it can be traced on the other revision; else its panel is covered whole.

    Args:
        choices: as they were made.
        source, target: revisions.
        can_trace: tells whether a line (panel, line_mm, keep_mm) parts the panel on *target*.

    Raises:
        InputError: *target* is not prepared.
    """
    if source.pk == target.pk:
        return Carried(choices, ())
    panels = panels_on(target)
    kept, said = [], []
    for choice in choices.panels:
        if choice.kept is not None:
            # Of the body, not of one of its scans.
            kept.append(choice)
            continue
        facts = panels.panels.get(choice.panel)
        if facts is None or not facts.mesh:
            said.append(f"This body has no panel “{choice.panel}”; it is left out.")
            continue
        one, sentences = _carried_panel(choice, facts, can_trace)
        kept.append(one)
        said += sentences
    return Carried(Choices(tuple(kept)), tuple(said))


def _carried_panel(
    choice: PanelChoice, facts: PanelFacts, can_trace: Callable[..., bool]
) -> tuple[PanelChoice, list[str]]:
    said: list[str] = []
    line, keep = choice.line_mm, choice.keep_mm
    if line and not can_trace(choice.panel, line, keep):
        said.append(
            f"The line on the {facts.in_sentence} was drawn on another revision and does not part "
            "the panel here; the panel is covered whole, draw the line anew."
        )
        line, keep = (), None
    elif line:
        said.append(
            f"The line on the {facts.in_sentence} was drawn on another revision and traced anew "
            "here; look whether it lies right."
        )
    said += [
        f"{kind.counted(count)} of the {facts.in_sentence} {'were' if count > 1 else 'was'} chosen "
        "on another revision and left away; look at what is proposed here."
        for kind in KINDS
        if (count := len(kind.paths(choice)))
    ]
    edges = {}
    for name, finish in choice.edges.items():
        try:
            edge = facts.edge(name)
        except InputError:
            edge = None
        if edge is None or (finish.finish is Finish.WRAP and edge.kind not in MAY_WRAP):
            said.append(f"The edge “{name}” of the {facts.in_sentence} is not there; left out.")
        else:
            edges[name] = finish
    known = {item.name for item in facts.keep_outs}
    over = {name: reason for name, reason in choice.film_over.items() if name in known}
    said += [
        f"The keep-out “{name}” of the {facts.in_sentence} is not there; left out."
        for name in choice.film_over
        if name not in known
    ]
    one = PanelChoice(panel=choice.panel, line_mm=line, keep_mm=keep, edges=edges, film_over=over)
    return one, said
