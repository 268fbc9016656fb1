"""What an archive brings, thing by thing, beside what is here."""

import hashlib
from dataclasses import dataclass

from layflat.base import InputError, counted
from layflat.exchange import (
    BodyState,
    CorrectionState,
    CoverState,
    Opened,
    PatternLine,
    Standing,
    chain,
    mark,
    missing,
    standing,
)
from layflat.papers import panel_in_sentence
from layflat.web.bodies.models import Body
from layflat.web.corrections.taking import brought, here_of
from layflat.web.exchanging.models import KnownKey
from layflat.web.people.shop import shown_fine_length, the_shop

BODY, COVERS = "body", "covers"
"""How a form calls the scans and the saved covers; a pattern is called by its name."""


@dataclass(frozen=True, kw_only=True)
class Item:
    """One thing of an archive, beside what is here.

    Attributes:
        key: how a form calls it.
        title, detail: for people.
        standing: how it stands to what is here.
        to_add: how many revisions would be added.
        asks: whether it is not ticked at first, whatever its standing.
        refused: why it cannot be taken, or "".
    """

    key: str
    title: str
    detail: str
    standing: Standing
    to_add: int
    asks: bool = False
    refused: str = ""

    @property
    def is_wanted(self) -> bool:
        """Whether it is ticked at first: only what goes on from what is here, or is new."""
        goes_on = self.standing in (Standing.NEW, Standing.NEWER)
        return self.to_add > 0 and goes_on and not self.asks


@dataclass(frozen=True, kw_only=True)
class Preview:
    """What an archive would bring to a body, and who signed it."""

    items: tuple[Item, ...]
    known: KnownKey | None


def preview(found: Opened, body: Body | None) -> Preview:
    """What an archive would bring to *body*, or to a new one."""
    contents = found.contents
    items = [_body_item(found, contents.bodies, body)] if contents.bodies else []
    items += [_pattern_item(found, line, body) for line in contents.patterns]
    if contents.covers:
        items.append(_covers_item(contents.covers, body))
    items += [_correction_item(found, state, body) for state in contents.corrections]
    key = found.signed.public.hex()
    return Preview(
        items=tuple(items),
        known=KnownKey.objects.filter(key=key).first(),
    )


def body_marks(found: Opened, states: tuple[BodyState, ...]) -> list[str]:
    """What tells an archive's body revisions apart, the oldest first."""
    return [
        _mark(found.sha256(state.scan), state.unit, found.sha256(state.panels)) for state in states
    ]


def own_body_marks(body: Body | None) -> list[str]:
    """The same of a body of the library."""
    if body is None:
        return []
    rows = body.revisions.filter(scan__isnull=False).order_by("number")
    return [
        _mark(
            row.scan.sha256 if row.scan else "",
            "" if row.scan and row.scan.media_type == "model/gltf-binary" else row.unit,
            row.panels.sha256 if row.panels else "",
        )
        for row in rows.select_related("scan", "panels")
    ]


def _mark(scan: str, unit: str, panels: str) -> str:
    return hashlib.sha256(f"{scan} {unit} {panels}".encode()).hexdigest()


def own_pattern_marks(body: Body | None, name: str) -> list[str]:
    """The hashes of a kept pattern's revisions, the oldest first."""
    kept = body.patterns.filter(name=name).first() if body else None
    if kept is None:
        return []
    rows = kept.revisions.order_by("number").values_list("pattern__sha256", flat=True)
    return list(rows)


def pattern_marks(found: Opened, line: PatternLine) -> list[str]:
    """The same of an archive's pattern."""
    return [found.sha256(state.pattern) for state in line.revisions]


def _body_item(found: Opened, states: tuple[BodyState, ...], body: Body | None) -> Item:
    theirs, ours = body_marks(found, states), own_body_marks(body)
    panels = found.panels[states[-1].panels].panels if states[-1].panels else ()
    names = ", ".join(panel.name for panel in panels) or "none"
    return Item(
        key=BODY,
        title="Scan and panels",
        detail=f"Panels: {names}",
        standing=standing(theirs, ours),
        to_add=len(missing(theirs, ours)),
    )


def _pattern_item(found: Opened, line: PatternLine, body: Body | None) -> Item:
    theirs, ours = pattern_marks(found, line), own_pattern_marks(body, line.name)
    return Item(
        key=f"pattern-{line.name}",
        title=line.title,
        detail="A flat pattern",
        standing=standing(theirs, ours),
        to_add=len(missing(theirs, ours)),
    )


def _covers_item(covers: tuple[CoverState, ...], body: Body | None) -> Item:
    here = {saved.title.casefold() for saved in body.saved_covers.all()} if body else set()
    new = [cover for cover in covers if cover.title.casefold() not in here]
    return Item(
        key=COVERS,
        title="Saved covers",
        detail=", ".join(cover.title for cover in covers),
        standing=Standing.NEW if new else Standing.SAME,
        to_add=len(new),
    )


def correction_key(state: CorrectionState) -> str:
    """How a form calls a correction."""
    return f"correction-{state.panel}"


def _correction_item(found: Opened, state: CorrectionState, body: Body | None) -> Item:
    theirs, here = found.histories[state.history], here_of(body, state.panel)
    marks = [mark(one) for one in chain(theirs)]
    title = f"Correction of {panel_in_sentence(state.panel)}"
    if not marks:
        return Item(
            key=correction_key(state),
            title=title,
            detail="It was taken back there; there is nothing to take",
            standing=Standing.OLDER,
            to_add=0,
        )
    newest = theirs.revision(theirs.current)
    cars = len({note.car for note in newest.notes})
    moved = shown_fine_length(newest.summary.largest_mm, the_shop())
    said = [
        f"What fit notes of {counted(cars, 'car')} made of its pattern: moved by at most {moved}"
    ]
    stands = standing(marks, here.marks)
    is_wanted, refused = bool(missing(marks, here.marks)), ""
    if is_wanted and here.now:
        whose = f"an archive of {here.now.came['shop']}" if here.now.came else "this shop's notes"
        said.append(
            f"Here it is cut by revision {here.now.number}, from {whose}. Taken, this one is cut "
            "from the next car on; that one stays on record, and taking this one back brings it "
            "again"
        )
    if is_wanted and marks[-1] in here.back:
        said.append(f"Here it was taken back once, as revision {here.back[marks[-1]].number}")
    if is_wanted:
        try:
            brought(body, state.panel, theirs, found.signed.shop)
        except InputError as error:
            refused = str(error)
    return Item(
        key=correction_key(state),
        title=title,
        detail=". ".join(said),
        standing=stands,
        to_add=int(is_wanted and not refused),
        asks=marks[-1] in here.back,
        refused=refused,
    )
