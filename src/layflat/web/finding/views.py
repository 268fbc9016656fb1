"""One box for everything, and recall by lot."""

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from layflat.web.finding.hits import SHORTEST, straight_to, whole_lot
from layflat.web.finding.hits import find as find_hits
from layflat.web.finding.lots import recall
from layflat.web.folding import typed
from layflat.web.people.shop import the_shop
from layflat.web.stock.listing import shown_rolls


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """What was found, by kind; straight to it when it is the only hit, its whole number or lot."""
    text = typed(request.GET.get("q", ""))
    straight = straight_to(text) if text else ""
    groups = [] if straight else find_hits(text, the_shop())
    hits = [hit for group in groups for hit in group.hits]
    is_one = len(hits) == 1 and len(hits[0].jobs) <= 1
    straight = straight or (hits[0].address if is_one else whole_lot(text, groups))
    if straight:
        return redirect(straight)
    context = {"part": "find", "asked": text, "groups": groups, "shortest": SHORTEST}
    return render(request, "finding/find.html", context)


@require_safe
def lot(request: HttpRequest, lot: str) -> HttpResponse:
    """Every car that carries film from a lot, in one step."""
    found = recall(lot)
    if found is None:
        raise Http404("No roll of this lot was ever in stock.")
    rolls, rule = shown_rolls(list(found.rolls), the_shop())
    context = {"part": "stock", "lot": found.written[0], "recall": found, "rolls": rolls}
    return render(request, "finding/lot.html", {**context, "rule": rule})
