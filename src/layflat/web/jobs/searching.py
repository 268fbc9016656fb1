"""Jobs by number, plate, VIN or customer; the closed ones, too."""

from typing import Final

from django.db.models import Q, QuerySet

from layflat.web.folding import bare, folded
from layflat.web.jobs.models import Job, Stage

WHICH: Final = {"": "Every job", "open": "Open", "closed": "Closed"}
"""Which jobs are looked through, as it is named in addresses and shown."""
_MOST_WORDS: Final = 8


def find_jobs(text: str, *, which: str = "") -> QuerySet[Job]:
    """Jobs in which every word of *text* is found, the newest first; without words all of them.

    Capitals and accents do not matter, nor spaces and hyphens in plates.

    Args:
        text: as typed.
        which: a key of `WHICH`.
    """
    jobs = Job.objects.order_by("-id")
    if which == "open":
        jobs = jobs.exclude(stage=Stage.CLOSED)
    elif which == "closed":
        jobs = jobs.filter(stage=Stage.CLOSED)
    for word in text.split()[:_MOST_WORDS]:
        found = Q(number__icontains=word) | Q(vehicle__customer__name_folded__contains=folded(word))
        if bare(word):
            found |= Q(vehicle__marks_folded__contains=bare(word))
        jobs = jobs.filter(found)
    return jobs
