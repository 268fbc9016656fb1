"""What is tapped while film is laid; see `layflat.web.taps.acts`."""

import io
from collections.abc import Iterable

from layflat.base import InputError
from layflat.web.cutting.film import in_words
from layflat.web.jobs.pictures import MOST_BYTES, Picture, read_picture
from layflat.web.laying import doing
from layflat.web.laying.words import names, sentence_start
from layflat.web.people.models import Person
from layflat.web.taps.acts import Call, act, job_of
from layflat.web.taps.naming import Named, by_row, name_fields


def _people(keys: set[int]) -> Iterable[tuple[int, str]]:
    return Person.objects.filter(pk__in=keys).values_list("pk", "shown")


name_fields(people=Named("Who", by_row(_people)), hard=Named("What was hard"))


@act("laying.began")
def began(call: Call) -> str:
    """Begin to lay a piece.

    Fields: `cut`, its key; `people`, keys of one or two people; without it, who tapped.
    """
    job = job_of(call)
    cut = doing.the_cut(job, call.fields.get("cut", ""))
    hands = chosen_people(call)
    doing.begin(job, cut, hands=hands, who=call.who, at=call.at)
    return f"{names(hands)} began to lay {in_words(cut)}."


@act("laying.ended")
def ended(call: Call) -> str:
    """Say that a piece is laid.

    Fields: `cut`; `hard`, what was hard, or "". Files: `photo`.
    """
    job = job_of(call)
    cut = doing.the_cut(job, call.fields.get("cut", ""))
    hard = call.fields.get("hard", "")
    doing.end(job, cut, hard=hard, picture=picture_of(call), who=call.who, at=call.at)
    return f"{sentence_start(in_words(cut))} is laid."


@act("laying.undone")
def undone(call: Call) -> str:
    """Take the last tap on a piece back.

    Fields: `cut`.
    """
    job = job_of(call)
    cut = doing.the_cut(job, call.fields.get("cut", ""))
    return doing.undo(job, cut, who=call.who, at=call.at)


@act("laying.remake")
def remake(call: Call) -> str:
    """Give a piece up, to be cut again.

    Fields: `cut`; `because`, why.
    """
    job = job_of(call)
    cut = doing.the_cut(job, call.fields.get("cut", ""))
    because = call.fields.get("because", "")
    doing.remake(job, cut, because=because, who=call.who, at=call.at)
    return f"{sentence_start(in_words(cut))} goes back to be laid out and cut again."


def chosen_people(call: Call) -> list[Person]:
    """Those named in the field `people`; who tapped, where it names nobody.

    Raises:
        InputError: it names somebody who does not work here.
    """
    keys = [key for key in call.fields.get("people", "").split(",") if key]
    if not keys:
        return [call.who]
    known = {
        str(person.pk): person
        for person in Person.objects.filter(
            is_active=True, pk__in=[key for key in keys if key.isdecimal()]
        )
    }
    missing = [key for key in keys if key not in known]
    if missing:
        raise InputError("One of the people who were chosen no longer works here; choose anew.")
    return [known[key] for key in keys]


def picture_of(call: Call) -> Picture | None:
    """The picture that was taken with a tap, or None.

    Raises:
        InputError: it cannot be read.
    """
    file = call.files.get("photo")
    return None if file is None else read_picture(io.BytesIO(file.read(MOST_BYTES + 1)))
