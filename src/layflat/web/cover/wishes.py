"""What a form of the sheet asks for: read, checked as far as that goes without the cover's lock."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

from layflat.base import InputError
from layflat.web.cover.choices import (
    MOST_POINTS,
    Choices,
    KeptChoice,
    PanelChoice,
    Point,
    cut_path,
    from_json,
    point,
)
from layflat.web.cover.choosing import (
    Changed,
    cover_by_pattern,
    cover_up_to,
    cover_whole,
    edge_seen,
    end_edge,
    extent_seen,
    film_over,
    finish_of,
    keep_out_seen,
    leave_bare,
    panel_seen,
    require_surface,
    stay_free,
    wanted_finish,
    wrap_free_edges,
)
from layflat.web.cover.cuts import RELIEF, SEAM, Kind, cuts_seen, forget_refused, move, refuse, take
from layflat.web.cover.lines import trace_line
from layflat.web.cover.models import Cover
from layflat.web.cover.panels import PanelFacts, panels_on, surfaces_of
from layflat.web.cover.sheet import read_length
from layflat.web.cover.shown import drawn_to_edges, other_side
from layflat.web.cover.straight import straight_line
from layflat.web.people.models import Shop
from layflat.web.people.shop import fine_number

_MOST_TEXT = 20_000


@dataclass(frozen=True)
class Wish:
    """A change of one panel that somebody wishes.

    Attributes:
        panel: its name.
        make: the change.
        now: the short word for what the form saw, of choices as they are.
    """

    panel: str
    make: Callable[[Choices], Changed]
    now: Callable[[Choices], str]


def wish_of(sent: Mapping[str, str], cover: Cover, shop: Shop) -> Wish:
    """The change that a form asks for.

    Args:
        sent: its fields: `kind`, `panel`, and what goes with the kind.
        cover: as it was when the form came; its body never changes.
        shop: whose unit lengths are in.

    Raises:
        InputError: it cannot be made; the sentence says why.
    """
    panel = panels_on(cover.body).of(sent.get("panel", ""))
    reader = _READERS.get(sent.get("kind", ""))
    if reader is None:
        raise InputError("This page is out of date; open it anew and choose again.")
    return reader(sent, cover, panel, shop)


def _whole(_sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    return Wish(panel.name, partial(cover_whole, panel=panel), _extent(panel))


def _bare(_sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    # Leaving a panel bare takes its edges and keep-outs along: all of it must be as it was seen.
    return Wish(
        panel.name,
        partial(leave_bare, panel=panel),
        lambda choices: panel_seen(choices, panel.name),
    )


def _kept(_sent: Mapping[str, str], cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    newest = panels_on(cover.body).kept_revision(panel.name)
    make = partial(
        cover_by_pattern, panel=panel, kept=KeptChoice(newest.number, newest.pattern.sha256)
    )
    return Wish(panel.name, make, _extent(panel))


def _line(sent: Mapping[str, str], cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    points = read_points(sent.get("line", ""))
    keep = read_point(sent.get("keep", ""))
    return _up_to(cover, panel, drawn_to_edges(cover.body, panel.name, points), keep)


def _numbers(sent: Mapping[str, str], cover: Cover, panel: PanelFacts, shop: Shop) -> Wish:
    require_surface(panel)
    found = straight_line(
        surfaces_of(cover.body)[panel.mesh],
        panels_on(cover.body),
        side=sent.get("side", ""),
        deep_mm=read_length(sent.get("deep", ""), shop),
        shop=shop,
    )
    return _up_to(cover, panel, found.line_mm, found.keep_mm)


def _other(_sent: Mapping[str, str], cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    choice = from_json(cover.choices).of(panel.name)
    if choice is None or choice.is_whole:
        raise InputError(f"There is no line on the {panel.in_sentence}.")
    return _up_to(cover, panel, choice.line_mm, other_side(cover.body, choice))


def _up_to(cover: Cover, panel: PanelFacts, line: tuple[Point, ...], keep: Point) -> Wish:
    # Traced once before anything is locked: what cannot be parted is not kept.
    trace_line(cover.body, panel.name, line, keep)
    make = partial(cover_up_to, panel=panel, line_mm=line, keep_mm=keep)
    return Wish(panel.name, make, _extent(panel))


def _edge(sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, shop: Shop) -> Wish:
    facts = panel.edge(sent.get("name", ""))
    text = sent.get("distance", "").strip()

    def make(choices: Choices) -> Changed:
        choice = choices.of(panel.name) or PanelChoice(panel=panel.name)
        before = finish_of(choice, facts)
        is_untouched = not text or text == fine_number(before.distance_mm, shop)
        finish = wanted_finish(
            choice,
            facts,
            finish=sent.get("finish", ""),
            distance_mm=before.distance_mm if is_untouched else read_length(text, shop),
        )
        return end_edge(choices, panel, edge=facts.name, finish=finish, shop=shop)

    return Wish(panel.name, make, lambda choices: edge_seen(choices, panel.name, facts.name))


def _wrap_free(_sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    make = partial(wrap_free_edges, panel=panel)
    return Wish(panel.name, make, lambda choices: panel_seen(choices, panel.name))


def _over(sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    name = sent.get("name", "")
    make = partial(film_over, panel=panel, keep_out=name, reason=sent.get("reason", ""))
    return Wish(panel.name, make, lambda choices: keep_out_seen(choices, panel.name, name))


def _free(sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop) -> Wish:
    name = sent.get("name", "")
    make = partial(stay_free, panel=panel, keep_out=name)
    return Wish(panel.name, make, lambda choices: keep_out_seen(choices, panel.name, name))


def _take(
    sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop, *, kind: Kind
) -> Wish:
    make = partial(take, panel=panel, kind=kind, path=cut_path(_json(sent.get("path", ""))))
    return Wish(panel.name, make, lambda choices: cuts_seen(choices, panel.name))


def _move(
    sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop, *, kind: Kind
) -> Wish:
    path, to = (cut_path(_json(sent.get(key, ""))) for key in ("path", "to"))
    make = partial(move, panel=panel, kind=kind, path=path, to=to)
    return Wish(panel.name, make, lambda choices: cuts_seen(choices, panel.name))


def _refuse(
    sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop, *, kind: Kind
) -> Wish:
    make = partial(refuse, panel=panel, kind=kind, path=cut_path(_json(sent.get("path", ""))))
    return Wish(panel.name, make, lambda choices: cuts_seen(choices, panel.name))


def _again(
    _sent: Mapping[str, str], _cover: Cover, panel: PanelFacts, _shop: Shop, *, kind: Kind
) -> Wish:
    make = partial(forget_refused, panel=panel, kind=kind)
    return Wish(panel.name, make, lambda choices: cuts_seen(choices, panel.name))


_READERS: dict[str, Callable[[Mapping[str, str], Cover, PanelFacts, Shop], Wish]] = {
    "whole": _whole,
    "bare": _bare,
    "kept": _kept,
    "line": _line,
    "numbers": _numbers,
    "other-side": _other,
    "edge": _edge,
    "wrap-free": _wrap_free,
    "over": _over,
    "free": _free,
    "relief": partial(_take, kind=RELIEF),
    "move-relief": partial(_move, kind=RELIEF),
    "no-relief": partial(_refuse, kind=RELIEF),
    "reliefs-again": partial(_again, kind=RELIEF),
    "seam": partial(_take, kind=SEAM),
    "no-seam": partial(_refuse, kind=SEAM),
    "seams-again": partial(_again, kind=SEAM),
}


def _extent(panel: PanelFacts) -> Callable[[Choices], str]:
    return lambda choices: extent_seen(choices, panel.name)


def read_points(text: str) -> tuple[Point, ...]:
    """The points of a drawn line from a form's JSON.

    Raises:
        InputError: it is no list of two points or more.
    """
    found = _json(text)
    if not isinstance(found, list) or not 2 <= len(found) <= MOST_POINTS - 2:
        raise InputError("A line needs two points or more; tap them one after another.")
    return tuple(point(item) for item in found)


def read_point(text: str) -> Point:
    """A point from a form's JSON.

    Raises:
        InputError: it is no point.
    """
    return point(_json(text))


def _json(text: str) -> Any:
    try:
        if len(text) > _MOST_TEXT:
            raise ValueError
        return json.loads(text)
    except (ValueError, RecursionError):
        raise InputError("The line cannot be read; draw it anew.") from None
