"""Cards as HTML."""

from functools import lru_cache

from django import template
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from layflat.web.board.cards import Card

register = template.Library()
_KEPT = 4096


@register.filter
@lru_cache(maxsize=_KEPT)
def ticket(card: Card) -> SafeString:
    """The card as it hangs on the board.

    All that is shown is in the card's values, so equal cards are rendered once: of a board that is
    asked for every few seconds hardly a ticket changes.
    """
    return render_to_string("board/ticket.html", {"card": card})
