"""How long cutting takes: estimates corrected by the sections whose time this shop has recorded."""

import datetime
import math
from typing import Final

from django.db.models import QuerySet

from layflat.cut import TimeRatio, time_ratio
from layflat.web.cutting.models import Section
from layflat.web.cutting.standing import minutes_words

_MOST: Final = 200
"""So many sections, the newest, say how the machine runs now."""
_MOST_RATIO: Final = 20.0
"""Who tapped so much earlier or later than the machine began and ended did something else."""
_LEAST_S: Final = 5.0


def note_time(
    section: Section, *, since: datetime.datetime | None, until: datetime.datetime | None
) -> None:
    """Write down how long cutting a section took, if both ends are known and can be its time.

    A time that is written down already stays: a sending knows better than two taps.
    """
    if section.took_s is not None or since is None or until is None:
        return
    took_s = (until - since).total_seconds()
    if took_s >= _LEAST_S and _may_be(section.seconds, took_s):
        section.took_s = took_s
        section.save(update_fields=["took_s"])


def learned(sections: QuerySet[Section] | None = None) -> TimeRatio:
    """What an estimate is to be multiplied by, from recorded sections; one query.

    Args:
        sections: those that count, such as one machine's; None for all of the shop.
    """
    rows = Section.objects.all() if sections is None else sections
    found = rows.filter(took_s__isnull=False).order_by("-pk").values_list("seconds", "took_s")
    return time_ratio(
        (estimated, took)
        for estimated, took in found[:_MOST]
        if took is not None and _may_be(estimated, took)
    )


def time_words(seconds: float, ratio: TimeRatio) -> str:
    """How long cutting will take, in words; with records between what it will lie."""
    middle, low, high = ratio.seconds(seconds)
    if not ratio.records:
        return minutes_words(seconds)
    least, most = minutes_words(low), minutes_words(high)
    number, _, unit = least.partition(" ")
    least = number if most.endswith(f" {unit}") else least
    return f"{minutes_words(middle)} ({least} to {most})"


def section_words(section: Section, ratio: TimeRatio) -> str:
    """How long cutting a section took, or will take."""
    if section.took_s is not None:
        return f"took {minutes_words(section.took_s)}"
    return f"about {time_words(section.seconds, ratio)}"


def source_words(ratio: TimeRatio) -> str:
    """Where times are from, in a sentence."""
    if not ratio.records:
        return (
            "Times are as the machine's values say; no section's time is recorded yet that could "
            "correct them."
        )
    many = "" if ratio.records == 1 else "s"
    return (
        f"Times are corrected by {ratio.records} section{many} that this shop cut: "
        f"{ratio.ratio:.2f} ± {ratio.deviation:.2f} of what the machine's values say."
    )


def _may_be(estimated_s: float, took_s: float) -> bool:
    """Whether a section's time can be one."""
    if not (0 < estimated_s < math.inf and 0 < took_s < math.inf):
        return False
    return 1.0 / _MOST_RATIO < took_s / estimated_s < _MOST_RATIO
