"""Covers in words: what is covered, and what one covers more than another."""

from dataclasses import dataclass

from layflat.papers import panel_in_sentence
from layflat.pattern import Finish
from layflat.web.cover.choices import Choices, PanelChoice
from layflat.web.cover.choosing import finish_of
from layflat.web.cover.cuts import KINDS
from layflat.web.cover.panels import BodyPanels, PanelFacts

_SIDES = (", left", ", right")


def panels_in_words(choices: Choices, panels: BodyPanels) -> str:
    """The covered panels in one line, a left and a right one together."""
    names = [name for name in panels.panels if choices.of(name)]
    names += [choice.panel for choice in choices.panels if choice.panel not in panels.panels]
    return _joined(names, choices) or "nothing yet"


def _joined(names: list[str], choices: Choices) -> str:
    parts: list[str] = []
    words = [_in_words(name, choices) for name in names]
    for word in words:
        pair = _other_side(word)
        if pair is None or pair not in words:
            parts.append(word)
        elif ", left" in word:
            parts.append(word.replace(", left", ", both sides"))
    text = " · ".join(parts)
    return text[:1].upper() + text[1:]


def _in_words(name: str, choices: Choices) -> str:
    found = choices.of(name)
    part = "" if found is None or found.is_whole else " up to a line"
    return panel_in_sentence(name) + part


def _other_side(word: str) -> str | None:
    left, right = _SIDES
    if left in word:
        return word.replace(left, right)
    return word.replace(right, left) if right in word else None


def choice_in_words(choice: PanelChoice, panel: PanelFacts) -> str:
    """What is chosen for one panel, in a few words."""
    if choice.kept is not None:
        return f"its kept pattern, revision {choice.kept.revision}"
    parts = ["the whole panel" if choice.is_whole else "up to a line"]
    wrapped = [
        edge.name
        for edge in panel.edges
        if edge.name and finish_of(choice, edge).finish is Finish.WRAP
    ]
    if wrapped:
        parts.append(f"wrapped round: {', '.join(wrapped)}")
    if choice.film_over:
        parts.append(f"film over {', '.join(choice.film_over)}")
    parts += [kind.counted(count) for kind in KINDS if (count := len(kind.paths(choice)))]
    free = [item for item in panel.keep_outs if item.name not in choice.film_over]
    if free:
        parts.append(f"{len(free)} keep-out{'s' if len(free) > 1 else ''} free")
    return " · ".join(parts)


@dataclass(frozen=True)
class Difference:
    """What tells a cover from another one, in words; "" for nothing."""

    more: str
    less: str
    otherwise: str


def difference(one: Choices, other: Choices, panels: BodyPanels) -> Difference:
    """What *one* covers more, less and otherwise than *other*; of one body."""
    mine = {choice.panel for choice in one.panels}
    theirs = {choice.panel for choice in other.panels}
    order = [*panels.panels, *sorted((mine | theirs) - set(panels.panels))]
    changed = [
        f"{panels.title(name).lower()}: {_how(one.of(name), other.of(name))}"
        for name in order
        if name in mine & theirs and one.of(name) != other.of(name)
    ]
    return Difference(
        more=_joined([name for name in order if name in mine - theirs], one),
        less=_joined([name for name in order if name in theirs - mine], other),
        otherwise="; ".join(changed),
    )


def _made_from(choice: PanelChoice) -> str:
    if choice.kept is None:
        return "from the surface"
    return f"its kept pattern, revision {choice.kept.revision}"


def _how(mine: PanelChoice | None, theirs: PanelChoice | None) -> str:
    if mine is None or theirs is None:
        return ""
    if mine.kept is not None or theirs.kept is not None:
        return f"{_made_from(mine)}, not {_made_from(theirs)}"
    parts = []
    if mine.line_mm != theirs.line_mm or mine.keep_mm != theirs.keep_mm:
        if mine.is_whole:
            parts.append("whole, not up to a line")
        else:
            parts.append("up to a line, not whole" if theirs.is_whole else "up to another line")
    if mine.edges != theirs.edges:
        parts.append("other edges")
    parts += [
        f"{len(kind.paths(mine)) or 'no'} {kind.word}s, not {len(kind.paths(theirs)) or 'none'}"
        for kind in KINDS
        if kind.paths(mine) != kind.paths(theirs)
    ]
    if mine.film_over != theirs.film_over:
        parts.append("other keep-outs under film")
    return ", ".join(parts)
