"""Pictures of the finished car: taken, withdrawn, put back."""

from typing import Final

from layflat.base import InputError
from layflat.web.files.store import keep
from layflat.web.handback.models import FinalPicture
from layflat.web.jobs.models import Job, Stage
from layflat.web.jobs.pictures import MEDIA_TYPE, MOST_BYTES, Picture
from layflat.web.people.models import Person
from layflat.web.record.models import write_event

MOST: Final = 24
LONGEST_CAPTION: Final = 120
_OPEN: Final = (Stage.BAY, Stage.CHECKED, Stage.HANDED)


def add_picture(job: Job, picture: Picture, *, caption: str, who: Person | None) -> FinalPicture:
    """Keep a picture; call it on a locked job in a transaction.

    Raises:
        InputError: the job is not that far, there are enough, or the caption is too long.
        OutputError: it cannot be kept.
    """
    if job.stage not in _OPEN:
        raise InputError(
            f"The job stands at “{Stage(job.stage).label}”; pictures of the finished car are taken "
            "once it is in the bay."
        )
    caption = " ".join(caption.split())
    if len(caption) > LONGEST_CAPTION:
        raise InputError(f"Say what the picture shows in {LONGEST_CAPTION} letters or fewer.")
    if job.final_pictures.filter(is_withdrawn=False).count() >= MOST:
        raise InputError(f"A passport has at most {MOST} pictures; withdraw one first.")
    number = job.final_pictures.count() + 1
    photo, thumb = (
        keep(
            [data],
            name=f"{job.number}-final-{number}{part}.jpg",
            media_type=MEDIA_TYPE,
            most_bytes=MOST_BYTES,
            who=who,
        )
        for data, part in ((picture.whole, ""), (picture.thumb, "-small"))
    )
    found = FinalPicture.objects.create(job=job, photo=photo, thumb=thumb, caption=caption, who=who)
    write_event(
        "handback.picture",
        f"A picture of the finished car was taken{f': {caption}' if caption else ''}.",
        who=who,
        job=job,
        after={"picture": found.pk},
    )
    return found


def set_withdrawn(job: Job, key: int, *, is_withdrawn: bool, who: Person | None) -> None:
    """Withdraw a picture, or put it back; nothing when that was done already.

    Raises:
        InputError: the job has no such picture, or there are enough.
    """
    found = job.final_pictures.filter(pk=key).first()
    if found is None:
        raise InputError("There is no such picture; open the page anew.")
    if found.is_withdrawn == is_withdrawn:
        return
    if not is_withdrawn and job.final_pictures.filter(is_withdrawn=False).count() >= MOST:
        raise InputError(f"A passport has at most {MOST} pictures; withdraw one first.")
    found.is_withdrawn = is_withdrawn
    found.save(update_fields=["is_withdrawn"])
    words = "was withdrawn" if is_withdrawn else "is back"
    write_event(
        "handback.picture-withdrawn" if is_withdrawn else "handback.picture-back",
        f"A picture of the finished car {words}{f': {found.caption}' if found.caption else ''}.",
        who=who,
        job=job,
        before={"picture": found.pk, "is_withdrawn": not is_withdrawn},
        after={"picture": found.pk, "is_withdrawn": is_withdrawn},
    )
