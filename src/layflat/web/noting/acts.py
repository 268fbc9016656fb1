"""What is tapped where film is noted to fit or not; see `layflat.web.taps.acts`."""

from layflat.web.cutting.film import in_words
from layflat.web.laying.doing import the_cut
from layflat.web.noting import doing
from layflat.web.people.shop import INCH_MM
from layflat.web.taps.acts import EVERYBODY, Call, act, job_of, number_of
from layflat.web.taps.naming import Named, name_fields

name_fields(
    fit=Named("How it fits"),
    first_mm=Named("By, mm"),
    first_in=Named("By, in"),
    second_mm=Named("And by, mm"),
    second_in=Named("And by, in"),
    along_mm=Named("Along, mm"),
    along_in=Named("Along, in"),
    fit_note=Named("Fit note"),
)


@act("noting.noted", roles=EVERYBODY)
def noted(call: Call) -> str:
    """Note how a piece fits.

    Fields: `cut`; `fit`, a kind; `x_mm`, `y_mm`, its place; `first_mm`, `second_mm` and `along_mm`
    or, in inches, `first_in` and so on, or ""; `note`.
    """
    job = job_of(call)
    cut = the_cut(job, call.fields.get("cut", ""))
    seen = doing.Seen(
        kind=call.fields.get("fit", ""),
        x_mm=_number(call, "x_mm"),
        y_mm=_number(call, "y_mm"),
        first_mm=_length_mm(call, "first"),
        second_mm=_length_mm(call, "second"),
        along_mm=_length_mm(call, "along"),
        words=call.fields.get("note", ""),
    )
    found = doing.note(job, cut, seen, who=call.who, at=call.at)
    return f"Fit note {found.number} is noted on {in_words(cut)}: {doing.in_short(found)}."


@act("noting.withdrawn", roles=EVERYBODY)
def withdrawn(call: Call) -> str:
    """Take a fit note back.

    Fields: `fit_note`, its number.
    """
    found = doing.withdraw(job_of(call), call.fields.get("fit_note", ""), who=call.who, at=call.at)
    return f"Fit note {found.number} is taken back; no correction rests on it from now on."


def _length_mm(call: Call, name: str) -> float | None:
    inches = _number(call, f"{name}_in")
    return _number(call, f"{name}_mm") if inches is None else inches * INCH_MM


def _number(call: Call, name: str) -> float | None:
    return number_of(call, name, such_as="each length as a number, such as 1.5")
