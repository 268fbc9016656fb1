"""The fit of a cover: its pieces, and each piece on the panel and in the flat."""

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError
from layflat.fit import STROKES
from layflat.web.corrections.reading import stretch_said
from layflat.web.cover.models import Cover, Piece
from layflat.web.cover.outcomes import newest
from layflat.web.cover.seamed import ask_seams, asked_seams
from layflat.web.cover.views.common import keeps_counter
from layflat.web.fit.cuts import cuts_context
from layflat.web.fit.found import the_cover
from layflat.web.fit.standing import Standing, standing_of
from layflat.web.fit.two import two_context
from layflat.web.fit.words import blank_words, edge_rows, hardest_first, in_words
from layflat.web.people.gate import me
from layflat.web.people.shop import the_shop


@require_safe
def fit(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Every piece of a cover, the hardest first."""
    found = the_cover(number, cover)
    standing = standing_of(found, shop=the_shop())
    context = _context(found, standing)
    if standing.outcome is not None:
        pieces = hardest_first(standing.outcome.pieces.all())
        context["pieces"] = [in_words(piece) for piece in pieces]
    return render(request, "fit/fit.html", context)


@require_safe
def piece(request: HttpRequest, number: str, cover: int, piece: int) -> HttpResponse:
    """One piece: its stretch on the panel and in the flat, linked."""
    found = the_cover(number, cover)
    shop = the_shop()
    standing = standing_of(found, shop=shop)
    if standing.outcome is None:
        raise Http404("The cover is not computed yet.")
    pieces = hardest_first(standing.outcome.pieces.all())
    place = next((i for i, item in enumerate(pieces) if item.number == piece), None)
    if place is None:
        raise Http404(f"There is no piece {piece}.")
    shown = pieces[place]
    context = _context(found, standing) | {
        "words": in_words(shown),
        "noted_stretch": stretch_said(found.body.body_id, shown.panel, shown.details),
        "stroke_words": STROKES,
        "piece": shown,
        "edges": edge_rows(shown.details),
        "blank": blank_words(shown.details.get("blank")),
        "before": pieces[place - 1] if place else None,
        "after": pieces[place + 1] if place + 1 < len(pieces) else None,
        **cuts_context(found, shown, keeps_counter=keeps_counter(request)),
        **two_context(found, shown, shop=shop),
        "place": place + 1,
        "count": len(pieces),
    }
    return render(request, "fit/piece.html", context)


@require_POST
def two(request: HttpRequest, number: str, cover: int, piece: int) -> HttpResponse:
    """Asks for one piece against two; asked twice, it is one computation."""
    found = the_cover(number, cover)
    shown = _newest_piece(found, piece)
    try:
        ask_seams(found, shown.panel_name, shop=the_shop(), who=me(request))
    except InputError as error:
        messages.error(request, str(error))
    return HttpResponseRedirect(reverse("fit:piece", args=[number, cover, piece]) + "#two")


@require_safe
def two_ready(_request: HttpRequest, number: str, cover: int, piece: int) -> HttpResponse:
    """For a page that waits: nothing while it is compared, then word to load it anew."""
    response = HttpResponse(status=204)
    found = the_cover(number, cover)
    asked = asked_seams(found, _newest_piece(found, piece).panel_name, shop=the_shop())
    if asked is None or asked.is_over:
        response["HX-Refresh"] = "true"
    return response


def _newest_piece(cover: Cover, number: int) -> Piece:
    outcome = newest(cover)
    found = None if outcome is None else outcome.pieces.filter(number=number).first()
    if found is None:
        raise Http404(f"There is no piece {number}.")
    return found


@require_safe
def ready(_request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """For a page that waits: nothing while it is computed, then word to load it anew."""
    response = HttpResponse(status=204)
    made = the_cover(number, cover).computation
    if made is None or made.is_over:
        response["HX-Refresh"] = "true"
    return response


def _context(cover: Cover, standing: Standing) -> dict[str, Any]:
    return {
        "part": "job",
        "job": cover.job,
        "cover": cover,
        "standing": standing,
        "outcome": standing.outcome,
        "computation": cover.computation,
    }
