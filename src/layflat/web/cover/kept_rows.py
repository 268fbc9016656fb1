"""The kept patterns of a body on the sheet, each with what is chosen and what its forms carry."""

from collections.abc import Mapping
from dataclasses import dataclass

from layflat.web.cover.choices import Choices, KeptChoice
from layflat.web.cover.choosing import extent_seen, panel_seen
from layflat.web.cover.models import Cover
from layflat.web.cover.panels import panels_on
from layflat.web.patterns.models import KeptRevision
from layflat.web.shaping.free import Free, free_places


@dataclass(frozen=True)
class KeptRow:
    """A kept pattern.

    Attributes:
        name, title: its panel's name, and as people write it.
        newest: its newest revision; None for one that is not offered any more.
        chosen: the revision that is covered by it, or None.
        by_surface: whether its panel is covered from the scan's surface instead.
        free: the places that stay free on the chosen revision, or else on the newest.
        seen, all_seen: what forms carry.
    """

    name: str
    title: str
    newest: KeptRevision | None
    chosen: KeptChoice | None
    by_surface: bool
    free: list[Free]
    seen: str
    all_seen: str

    @property
    def is_newest(self) -> bool:
        """Whether the chosen revision is the newest."""
        newest, chosen = self.newest, self.chosen
        return newest is not None and chosen is not None and chosen.revision == newest.number


def kept_rows(cover: Cover, choices: Choices) -> list[KeptRow]:
    """Every kept pattern of the cover's body, and those that are covered and no longer offered.

    Raises:
        InputError: the body is not prepared, or its files are gone.
    """
    body = panels_on(cover.body)
    newest = {item.kept.name: item for item in body.kept}
    gone = [
        choice.panel
        for choice in choices.panels
        if choice.kept is not None and choice.panel not in newest
    ]
    names = (*newest, *gone)
    free = free_places(cover.body.body_id) if names else {}
    return [
        _row(
            name,
            newest[name].kept.title if name in newest else body.title(name),
            newest.get(name),
            choices,
            free,
        )
        for name in names
    ]


def _row(
    name: str,
    title: str,
    newest: KeptRevision | None,
    choices: Choices,
    free: Mapping[tuple[str, int], list[Free]],
) -> KeptRow:
    choice = choices.of(name)
    number = newest.number if newest else 0
    if choice is not None and choice.kept is not None:
        number = choice.kept.revision
    return KeptRow(
        name=name,
        title=title,
        newest=newest,
        chosen=None if choice is None else choice.kept,
        by_surface=choice is not None and choice.kept is None,
        free=free.get((name, number), []),
        seen=extent_seen(choices, name),
        all_seen=panel_seen(choices, name),
    )
