"""A job's alternatives: begun, named, copied, dropped and restored."""

from typing import Final

from django.db.models import Max

from layflat.base import InputError
from layflat.web.bodies.models import Revision
from layflat.web.cover.changing import require_open
from layflat.web.cover.choices import Choices, from_json, to_json
from layflat.web.cover.models import Cover
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

MOST: Final = 12
"""More alternatives than that nobody can choose between."""
_LONGEST: Final = 80


def clean_title(text: str, *, fallback: str = "") -> str:
    """A title as people may write one.

    Raises:
        InputError: it is missing or too long.
    """
    title = " ".join(text.split()) or fallback
    if not title:
        raise InputError("Give the alternative a title, such as “Nose only”.")
    if len(title) > _LONGEST:
        raise InputError(f"The title has {len(title)} letters; {_LONGEST} fit.")
    return title


def begin(
    job: Job, *, title: str, choices: Choices, body: Revision, what: str, who: Person | None
) -> Cover:
    """Add an alternative.

    Args:
        job: locked.
        title: as the customer reads it.
        choices: to begin from.
        body: the revision that they are made on.
        what: where it begins, in words for the record.
        who: adds it.

    Raises:
        InputError: covers cannot be changed now, the title is taken, or there are enough.
    """
    require_open(job)
    title = clean_title(title)
    standing = job.covers.filter(is_dropped=False)
    if standing.count() >= MOST:
        raise InputError(f"There are {MOST} alternatives already; drop one first.")
    _require_free(job, title)
    last = job.covers.aggregate(last=Max("number"))["last"] or 0
    cover = Cover.objects.create(
        job=job, number=last + 1, title=title, body=body, choices=to_json(choices)
    )
    write_event(
        "cover.begun",
        f"Alternative “{title}” was begun: {what}.",
        who=who,
        job=job,
        after={"cover": cover.number, "title": title, **cover.choices},
    )
    return cover


def _require_free(job: Job, title: str, *, besides: int = 0) -> None:
    others = job.covers.filter(is_dropped=False).exclude(pk=besides)
    if any(other.title.casefold() == title.casefold() for other in others):
        raise InputError(f"There is an alternative “{title}” already; give this one another title.")


def rename(cover: Cover, *, title: str, seen: str, who: Person | None) -> None:
    """Give a locked cover another title; nothing when it has it already.

    Args:
        cover: locked.
        title: the new one.
        seen: the one that the person saw.
        who: gives it.

    Raises:
        InputError: the title is missing, too long or taken, or somebody renamed it since.
    """
    title = clean_title(title)
    if title == cover.title:
        return
    if cover.title != seen:
        raise InputError(f"Somebody has called it “{cover.title}” in the meantime; choose again.")
    _require_free(cover.job, title, besides=cover.pk)
    before, cover.title = cover.title, title
    cover.version += 1
    cover.save(update_fields=["title", "version", "changed_at"])
    about = {"cover": cover.number}
    write_event(
        "cover.renamed",
        f"Alternative “{before}” is now called “{title}”.",
        who=who,
        job=cover.job,
        before={**about, "title": before},
        after={**about, "title": title},
    )


def copy_title(job: Job, title: str) -> str:
    """A free title for a copy."""
    taken = {other.title.casefold() for other in job.covers.filter(is_dropped=False)}
    for number in range(2, MOST + 3):
        wanted = f"{title[: _LONGEST - 4]} {number}"
        if wanted.casefold() not in taken:
            return wanted
    raise InputError(f"There are {MOST} alternatives already; drop one first.")


def choices_of(cover: Cover) -> Choices:
    """What a cover covers."""
    return from_json(cover.choices)


def set_dropped(job: Job, number: int, *, is_dropped: bool, who: Person | None) -> Cover:
    """Offer an alternative no longer, or offer it again; nothing when that is so already.

    Args:
        job: locked.
        number: of the cover.
        is_dropped: which.
        who: does it.

    Raises:
        InputError: there is none, covers cannot be changed now, or its title is taken meanwhile.
    """
    require_open(job)
    cover = job.covers.select_for_update(of=("self",)).filter(number=number).first()
    if cover is None:
        raise InputError("There is no such alternative.")
    if cover.is_dropped == is_dropped:
        return cover
    if not is_dropped:
        _require_free(job, cover.title, besides=cover.pk)
        if job.covers.filter(is_dropped=False).count() >= MOST:
            raise InputError(f"There are {MOST} alternatives already; drop one first.")
    cover.is_dropped = is_dropped
    cover.save(update_fields=["is_dropped", "changed_at"])
    done = "dropped; it can be restored" if is_dropped else "offered again"
    write_event(
        "cover.dropped" if is_dropped else "cover.restored",
        f"Alternative “{cover.title}” is {done}.",
        who=who,
        job=job,
        after={"cover": cover.number},
    )
    return cover
