"""The cover, its newest outcome and one piece, as addresses name them."""

from django.http import Http404

from layflat.web.cover.models import Cover, Outcome, Piece


def the_cover(number: str, cover: int) -> Cover:
    """A cover by its job's number and its own.

    Raises:
        Http404: there is none.
    """
    found = (
        Cover.objects.select_related("job", "body__light", "body__panels", "computation")
        .filter(job__number=number, number=cover)
        .first()
    )
    if found is None:
        raise Http404(f"There is no cover {cover} of job {number}.")
    return found


def the_outcome(number: str, cover: int, outcome: int) -> Outcome:
    """An outcome, with what its page shows of it.

    Raises:
        Http404: there is none.
    """
    found = (
        Outcome.objects.select_related("shown", "lines", "picture")
        .filter(cover__job__number=number, cover__number=cover, number=outcome)
        .first()
    )
    if found is None:
        raise Http404("There is no such outcome.")
    return found


def the_piece(number: str, cover: int, outcome: int, piece: int) -> Piece:
    """One piece of an outcome, with its files.

    Raises:
        Http404: there is none.
    """
    found = (
        Piece.objects.select_related("surface", "flat", "map")
        .filter(
            outcome__cover__job__number=number,
            outcome__cover__number=cover,
            outcome__number=outcome,
            number=piece,
        )
        .first()
    )
    if found is None:
        raise Http404("There is no such piece.")
    return found
