"""A passport's content as pages show it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from layflat.papers import PassportFlag, PassportPiece
from layflat.web.handback import words
from layflat.web.offer.shown import said_of
from layflat.web.people.models import Shop

Addresser = Callable[[str], str]
"""Gives the address of a picture, by its hash."""


@dataclass(frozen=True, kw_only=True)
class Shown:
    """One version.

    Attributes:
        content: as it is kept.
        facts: what stands at the head.
        pieces, flags, history, steps, acknowledged, visits: in words, see `words`.
        covered, free, over, expect: what was agreed, by panel.
        pictures: addresses of the whole and of the small one, and the caption.
        is_own_work: whether somebody inspected film of the own hands.
    """

    content: dict[str, Any]
    facts: tuple[tuple[str, str], ...]
    pieces: tuple[PassportPiece, ...]
    flags: tuple[PassportFlag, ...]
    history: tuple[str, ...]
    steps: tuple[tuple[str, str], ...]
    acknowledged: tuple[str, ...]
    visits: tuple[str, ...]
    covered: list[tuple[str, str]]
    free: list[tuple[str, str]]
    over: list[tuple[str, str]]
    expect: list[tuple[str, str]]
    pictures: list[tuple[str, str, str]]
    is_own_work: bool


def shown(content: dict[str, Any], shop: Shop, address: Addresser) -> Shown:
    """One version as people read it; asks for nothing."""
    cover = content["cover"]
    return Shown(
        content=content,
        facts=words.facts(content, shop),
        pieces=words.pieces(content, shop),
        flags=words.flags(content, shop),
        history=words.history(content, shop),
        steps=words.steps(content, shop),
        acknowledged=words.acknowledged(content, shop),
        visits=words.visits(content, shop),
        covered=said_of(cover, "extent", "edges"),
        free=said_of(cover, "free"),
        over=said_of(cover, "film_over"),
        expect=said_of(cover, "expect"),
        pictures=[
            (address(item["sha256"]), address(item["thumb"]), item["caption"])
            for item in content["pictures"]
        ],
        is_own_work=any(item["own_work_because"] for item in content["rounds"]),
    )
