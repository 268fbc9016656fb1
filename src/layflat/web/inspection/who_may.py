"""Who may inspect a job, as the bay's pages say it."""

from layflat.base import InputError
from layflat.web.gates.elsewhere import Elsewhere
from layflat.web.jobs.models import Job
from layflat.web.laying.film_on_car import InBay, in_bay
from layflat.web.laying.words import in_a_row, names
from layflat.web.people.models import Person


def where_inspected(job: Job, who: Person) -> Elsewhere | None:
    """Where the step of inspection is done, and by whom where it is not *who*.

    Asks for what `in_bay` reads, and so for nothing on the bay's page.
    """
    try:
        shared = in_bay(job)
    except InputError:
        return None
    why_not = why_not_oneself(shared, who)
    if why_not:
        return Elsewhere(says=f"{why_not} {who_may(shared)}", is_refused=True)
    return Elsewhere(
        says="Panel by panel on the tab “Check”, by somebody who laid none of it; it is done when "
        "the inspection is finished there.",
        action="To the inspection",
        address="#check",
    )


def why_not_oneself(shared: InBay, who: Person) -> str:
    """Why a person may not inspect, in sentences; "" when nothing is against it."""
    titles = shared.film.titles_of(who.pk)
    if not titles:
        return ""
    return f"{who.shown} had {in_a_row(titles)} in hand. People overlook their own faults."


def who_may(shared: InBay) -> str:
    """Who may inspect, in a sentence."""
    hands = {key for keys in shared.film.hands.values() for key in keys}
    others = [one for one in shared.people if one.is_active and one.pk not in hands]
    if not others:
        return (
            "Everybody here had some of it in hand; where there is nobody else, the tab “Check” "
            "asks why the own work is inspected."
        )
    return f"It is for whoever had none of it in hand: {names(others)}."
