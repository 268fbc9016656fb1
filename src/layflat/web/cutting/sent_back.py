"""What becomes of layouts when an accepted job is opened again and its cover may change."""

from layflat.base import InputError
from layflat.web.cutting.keeping import drop
from layflat.web.cutting.leaving import leave
from layflat.web.cutting.models import Layout, Member
from layflat.web.jobs.models import Job


def let_go(job: Job) -> str:
    """Drop what is not cut, so that no film stays reserved for it; on a locked job.

    Returns:
        What was done, in a sentence; "" when there was nothing.
    """
    done, stays, left = [], [], []
    over = (Layout.State.DROPPED, Layout.State.CUT)
    shared = Member.objects.filter(job=job, left_because="").exclude(layout__state__in=over)
    for one in shared.select_related("layout__job"):
        try:
            left.append(
                leave(one.layout, job, because="it was sent back, and its cover may change")
            )
        except InputError:
            stays.append(str(one.layout.number))
    own = job.layouts.filter(members__isnull=True).exclude(state__in=over)
    for layout in own:
        try:
            drop(layout, who=None)
        except InputError:
            # A section of it is cut; what is left of it is for a person to settle.
            stays.append(str(layout.number))
        else:
            done.append(str(layout.number))
    sentences = left
    if done:
        sentences.append(f"{_called(done)} dropped; what was reserved of the roll is free.")
    if stays:
        sentences.append(f"{_called(stays)} cut in part and not dropped.")
    return " ".join(sentences)


def _called(numbers: list[str]) -> str:
    return f"Layout {numbers[0]} is" if len(numbers) == 1 else f"Layouts {', '.join(numbers)} are"
