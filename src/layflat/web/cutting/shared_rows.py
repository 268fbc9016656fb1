"""What each job has of a layout that jobs share, as its page shows it."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from layflat.web.cutting.models import Member, Section, Share, called, number_in_layout
from layflat.web.cutting.standing import minutes_words


@dataclass(frozen=True, kw_only=True)
class MemberRow:
    """What one job has of a layout that jobs share.

    Attributes:
        member: it.
        pieces: its pieces as they are called on the layout.
        film_mm: that it bears, whole millimetres; None until there are sections.
        time: that cutting took or will take for it, in words.
    """

    member: Member
    pieces: Sequence[str]
    film_mm: int | None
    time: str


def members_rows(members: Sequence[Member], rows: Iterable[Section]) -> list[MemberRow]:
    """What each job has of a layout that jobs share, by its sections; one query, or none."""
    if not members:
        return []
    sections = {section.pk: section for section in rows}
    film: Counter[int] = Counter()
    seconds: Counter[int] = Counter()
    for share in Share.objects.filter(section__in=list(sections)):
        section = sections[share.section_id]
        film[share.job_id] += share.film_mm
        whole = section.seconds if section.took_s is None else section.took_s
        seconds[share.job_id] += round(whole * share.film_mm / section.film_mm)
    return [
        MemberRow(
            member=one,
            pieces=[called(number_in_layout(one.letter, number)) for number in one.pieces],
            film_mm=film[one.job_id] if sections else None,
            time=minutes_words(seconds[one.job_id]) if sections else "",
        )
        for one in members
    ]
