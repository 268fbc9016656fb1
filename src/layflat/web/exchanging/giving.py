"""A body of the library, or one of its patterns, as an archive for another shop."""

import json
from dataclasses import replace
from typing import Final

from django.conf import settings

from layflat.exchange import (
    BodyState,
    Contents,
    CorrectionState,
    CoverState,
    Key,
    Packed,
    Part,
    PatternLine,
    PatternState,
    Vehicle,
    pack,
    without_jobs,
)
from layflat.pattern import Drawing, dxf_text
from layflat.revise import history_json
from layflat.web.bodies.models import Body
from layflat.web.corrections.models import Correction
from layflat.web.corrections.reading import current_of, history_of
from layflat.web.cover.models import SavedCover
from layflat.web.files.models import StoredFile
from layflat.web.files.store import path_of
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptPattern, KeptRevision
from layflat.web.people.models import Shop

_ENDINGS: Final = {
    "model/x-ply": "ply",
    "model/stl": "stl",
    "model/obj": "obj",
    "model/gltf-binary": "glb",
}
_NOBODY: Final = "A shop without a name"


def own_key() -> Key:
    """The shop's own key; it follows from the app's secret key, and so lies in every backup."""
    return Key.derived(settings.SECRET_KEY)


def packed(body: Body, *, only: KeptPattern | None = None) -> Packed:
    """The archive of a body; the same bytes while nothing of it changes.

    In it are the scans with their panels, the kept patterns that are still offered, each with all
    its revisions, the saved covers, and what fit notes made of the pieces that are cut by
    corrections now; no job, no customer, nobody's name, no photograph.

    Args:
        body: the vehicle.
        only: the one pattern that is given, with what fit notes made of it; None for all.

    Raises:
        InputError: there is too much of it, or a file is missing or damaged.
    """
    shop = Shop.objects.first()
    parts = _Parts()
    bodies = () if only else _bodies(body, parts)
    contents = Contents(
        vehicle=Vehicle(
            maker=_plain(body.maker),
            name=_plain(body.name),
            year_from=body.year_from,
            year_to=body.year_to,
            note=_plain(body.note),
        ),
        bodies=bodies,
        patterns=_lines([only] if only else offered(body), parts),
        covers=()
        if only
        else tuple(
            CoverState(
                title=_plain(saved.title), revision=saved.revision.number, choices=saved.choices
            )
            for saved in _covers(body, {state.number for state in bodies})
        ),
        corrections=_corrections(corrected(body, only), parts),
    )
    name = _plain(shop.name)[:120] if shop else ""
    return pack(contents, parts.found, key=own_key(), shop=name or _NOBODY)


class _Parts:
    """The files of an archive; a content that comes twice is packed once."""

    def __init__(self) -> None:
        self.found: list[Part] = []
        self._names: dict[tuple[str, str], str] = {}
        self._counts: dict[str, int] = {}

    def of(self, stored: StoredFile | None, folder: str, ending: str) -> str:
        """The name of a kept file in the archive; "" for none."""
        if stored is None:
            return ""
        key = (folder, stored.sha256)
        if key not in self._names:
            self._counts[folder] = number = self._counts.get(folder, 0) + 1
            self._names[key] = name = f"{folder}/{number}.{ending}"
            self.found.append(Part(name, path_of(stored.sha256)))
        return self._names[key]


def _bodies(body: Body, parts: _Parts) -> tuple[BodyState, ...]:
    rows = body.revisions.filter(scan__isnull=False).order_by("number")
    return tuple(
        BodyState(
            number=row.number,
            scan=parts.of(row.scan, "scans", _ENDINGS[row.scan.media_type]),
            unit="" if row.scan.media_type == "model/gltf-binary" else row.unit,
            panels=parts.of(row.panels, "panels", "json"),
            surface=parts.of(row.light, "surfaces", "glb"),
            made=row.added_at.date().isoformat(),
        )
        for row in rows.select_related("scan", "panels", "light")
        if row.scan is not None
    )


def offered(body: Body) -> list[KeptPattern]:
    """The body's kept patterns that go along with it, by name."""
    return list(body.patterns.filter(is_retired=False).order_by("name"))


def corrected(body: Body, only: KeptPattern | None = None) -> dict[str, Correction]:
    """By piece the corrections that go along: those by which pieces are cut now."""
    found = sorted(current_of(body).items())
    return {piece: one for piece, one in found if only is None or piece == only.name}


def _corrections(given: dict[str, Correction], parts: _Parts) -> tuple[CorrectionState, ...]:
    found = []
    for place, (piece, row) in enumerate(given.items(), 1):
        name, number = _plain(piece), row.number or 0
        history = without_jobs(replace(history_of(row.history.sha256), current=number), name)
        content = json.dumps(history_json(history), ensure_ascii=False, separators=(",", ":"))
        parts.found.append(Part(f"histories/{place}.json", content.encode()))
        state = CorrectionState(
            panel=name,
            history=f"histories/{place}.json",
            number=number,
            made=row.settled_at.date().isoformat() if row.settled_at else "",
        )
        found.append(state)
    return tuple(found)


def _lines(kept: list[KeptPattern], parts: _Parts) -> tuple[PatternLine, ...]:
    found = []
    for place, line in enumerate(kept, 1):
        rows = line.revisions.select_related("pattern", "based_on").order_by("number")
        states = tuple(_state(row, f"patterns/{place}/{row.number}", parts) for row in rows)
        if states:
            name, title = _plain(line.name), _plain(line.title)
            found.append(PatternLine(name=name, title=title, revisions=states))
    return tuple(found)


def _state(row: KeptRevision, place: str, parts: _Parts) -> PatternState:
    drawing = dxf_text(Drawing(patterns=(pattern_of(row),)))
    parts.found.append(Part(f"{place}.json", path_of(row.pattern.sha256)))
    parts.found.append(Part(f"{place}.dxf", drawing.encode()))
    based = row.based_on if row.based_on and row.based_on.kept_id == row.kept_id else None
    return PatternState(
        number=row.number,
        pattern=f"{place}.json",
        drawing=f"{place}.dxf",
        origin=row.origin,
        exactness=json.loads(json.dumps(row.exactness)),
        said=tuple(said[:500] for said in row.said if said.strip()),
        based_on=based.number if based else None,
        made=row.added_at.date().isoformat(),
    )


def _covers(body: Body, numbers: set[int]) -> list[SavedCover]:
    rows = body.saved_covers.filter(is_retired=False).select_related("revision")
    return [row for row in rows.order_by("title", "pk") if row.revision.number in numbers]


def _plain(text: str) -> str:
    """Words as an archive takes them."""
    return "".join(sign if sign.isprintable() else " " for sign in text).strip()
