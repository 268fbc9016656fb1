"""What a section's sheet on its layout's page shows of its sendings."""

from collections.abc import Iterable

from layflat.web.cutting.models import Section
from layflat.web.sending.models import Sending


def read(sections: Iterable[Section]) -> dict[int, Sending]:
    """The last sending of each of some sections that was sent at all, by the section's key."""
    rows = Sending.objects.filter(section__in=list(sections))
    rows = rows.exclude(state=Sending.State.REFUSED).select_related("machine")
    return {row.section_id: row for row in rows.order_by("number")}
