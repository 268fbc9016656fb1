"""What is tapped while a car is inspected; see `layflat.web.taps.acts`."""

from layflat.base import InputError
from layflat.web.cutting.film import in_words
from layflat.web.inspection import doing, ending, flags
from layflat.web.inspection.models import Flag
from layflat.web.jobs.models import Job
from layflat.web.laying.acts import chosen_people, picture_of
from layflat.web.laying.doing import the_cut
from layflat.web.laying.words import sentence_start
from layflat.web.people.shop import INCH_MM
from layflat.web.taps.acts import EVERYBODY, Call, act, job_of, number_of
from layflat.web.taps.naming import Named, by_words, hidden, name_fields

name_fields(
    flag=Named("Flag"),
    kind=Named("Fault"),
    remedy=Named("To be done", by_words({one.value: one.label for one in Flag.Remedy})),
    how=Named("How"),
    size_mm=Named("Size, mm"),
    size_in=Named("Size, in"),
    x_mm=hidden(),
    y_mm=hidden(),
    own_work_because=Named("Why the own work is inspected"),
    take_over=Named("Takes the inspection over"),
)


@act("inspection.begun", roles=EVERYBODY)
def begun(call: Call) -> str:
    """Begin the inspection.

    Fields: `own_work_because`, why the own work is inspected, or ""; `take_over`, "yes" to go on
    with somebody else's round.
    """
    found = doing.begin(
        job_of(call),
        own_work_because=call.fields.get("own_work_because", ""),
        takes_over=call.fields.get("take_over") == "yes",
        who=call.who,
        at=call.at,
    )
    return f"Inspection {found.number} has begun; {call.who.shown} inspects."


@act("inspection.left", roles=EVERYBODY)
def left(call: Call) -> str:
    """Stop inspecting for now."""
    doing.leave(job_of(call), who=call.who, at=call.at)
    return "What was looked at stands; somebody may go on."


@act("inspection.checked", roles=EVERYBODY)
def checked(call: Call) -> str:
    """Say that a piece was looked at all over.

    Fields: `cut`, its key.
    """
    job = job_of(call)
    cut = the_cut(job, call.fields.get("cut", ""))
    doing.check(job, cut, who=call.who, at=call.at)
    return f"{sentence_start(in_words(cut))} is checked."


@act("inspection.flagged", roles=EVERYBODY)
def flagged(call: Call) -> str:
    """Note a fault on a piece.

    Fields: `cut`; `kind`; `remedy`; `x_mm`, `y_mm`, its place, or ""; `size_mm` or, in inches,
    `size_in`, or ""; `note`. Files: `photo`.
    """
    job = job_of(call)
    cut = the_cut(job, call.fields.get("cut", ""))
    seen = flags.Seen(
        kind=call.fields.get("kind", ""),
        remedy=_remedy(call),
        x_mm=_number(call, "x_mm"),
        y_mm=_number(call, "y_mm"),
        size_mm=_size_mm(call),
        note=call.fields.get("note", ""),
    )
    flag = flags.note_flag(job, cut, seen, picture=picture_of(call), who=call.who, at=call.at)
    return f"Flag {flag.number} is noted on {in_words(cut)}: {flag.get_remedy_display()}."


@act("inspection.remedy", roles=EVERYBODY)
def remedy(call: Call) -> str:
    """Do something else about a flag.

    Fields: `flag`, its number; `remedy`.
    """
    flag = _flag(job_of(call), call)
    flags.change_remedy(flag, _remedy(call), who=call.who, at=call.at)
    return f"Flag {flag.number}: {flag.get_remedy_display()}."


@act("inspection.mended", roles=EVERYBODY)
def mended(call: Call) -> str:
    """Say that a flag was mended.

    Fields: `flag`, its number; `people`, who did it; `how`, or "". Files: `photo`.
    """
    flag = _flag(job_of(call), call)
    more = flags.mend(
        flag,
        hands=chosen_people(call),
        how=call.fields.get("how", ""),
        picture=picture_of(call),
        who=call.who,
        at=call.at,
    )
    return f"Flag {flag.number} is mended; somebody else looks again. {more}".rstrip()


@act("inspection.still-there", roles=EVERYBODY)
def still_there(call: Call) -> str:
    """Say that a mended flag is still there.

    Fields: `flag`, its number; `remedy`, what is to be done now.
    """
    flag = _flag(job_of(call), call)
    ending.still_there(flag, _remedy(call), who=call.who, at=call.at)
    return f"Flag {flag.number} is open again: {flag.get_remedy_display()}."


@act("inspection.ended-flag", roles=EVERYBODY)
def ended_flag(call: Call) -> str:
    """End a flag.

    Fields: `flag`, its number; `how`: "gone", "noted", or "no fault" with `because`.
    """
    flag = _flag(job_of(call), call)
    how = call.fields.get("how", "")
    if how == "gone":
        ending.end_gone(flag, who=call.who, at=call.at)
    elif how == "noted":
        ending.end_noted(flag, who=call.who, at=call.at)
    elif how == "no fault":
        ending.end_no_fault(flag, call.fields.get("because", ""), who=call.who, at=call.at)
    else:
        raise InputError("Choose how the flag ends.")
    return f"Flag {flag.number} ended: {flag.ended_how}."


@act("inspection.finished", roles=EVERYBODY)
def finished(call: Call) -> str:
    """Finish the inspection."""
    doing.finish(job_of(call), who=call.who, at=call.at)
    return "Every piece is checked and no flag is open."


def _flag(job: Job, call: Call) -> Flag:
    number = call.fields.get("flag", "")
    found = (
        job.flags.select_related("cut__piece", "cut__section__layout__job", "replaced_by__piece")
        .select_related("mended_by", "ended_by")
        .filter(number=int(number) if number.isdecimal() else 0)
        .first()
    )
    if found is None:
        raise InputError(f"Job {job.number} has no such flag; open the page anew.")
    # The locked row, so that its stage is what others see, too.
    found.job = job
    return found


def _remedy(call: Call) -> Flag.Remedy:
    try:
        return Flag.Remedy(call.fields.get("remedy", ""))
    except ValueError as error:
        raise InputError("Choose what is to be done about it.") from error


def _size_mm(call: Call) -> float | None:
    inches = _number(call, "size_in")
    return _number(call, "size_mm") if inches is None else inches * INCH_MM


def _number(call: Call, name: str) -> float | None:
    return number_of(call, name, such_as="the size as a number, such as 5")
