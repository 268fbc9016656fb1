"""Where the sending of a section stands, and why the section must stay as it is meanwhile."""

from layflat.web.cutting.models import Section
from layflat.web.people.shop import shown_moment, the_shop
from layflat.web.sending.models import OPEN, Sending


def who_and_when(sending: Sending) -> str:
    """Who asked for a sending, and since when it goes on."""
    by = sending.asked_by.shown if sending.asked_by else "Layflat"
    return f"by {by} since {shown_moment(sending.asked_at, the_shop())}"


def why_busy(section: Section) -> str:
    """Why a section must stay as it is, in a sentence; "" while nothing of it is sent."""
    rows = Sending.objects.filter(section=section, state__in=OPEN)
    found = rows.select_related("asked_by", "machine").first()
    if found is None:
        return ""
    return (
        f"Section {section.number} is being cut on {found.machine}, {who_and_when(found)}; stop "
        "that first, or wait."
    )


def was_begun(section: Section) -> bool:
    """Whether anything of a section was sent, however it ended."""
    rows = Sending.objects.filter(section=section)
    return rows.exclude(state=Sending.State.REFUSED).exists()
