"""What the pages of covers share: the cover that is meant, who may change it, and its sheet."""

import json
from typing import Any

from django.http import Http404, HttpRequest
from django.urls import reverse

from layflat.base import InputError
from layflat.web.cover.changing import last_change, why_not
from layflat.web.cover.choices import from_json
from layflat.web.cover.figures import stand_of
from layflat.web.cover.kept_rows import kept_rows
from layflat.web.cover.models import Cover
from layflat.web.cover.sheet import rows_of, shown_on_body
from layflat.web.cover.shown import choices_word
from layflat.web.jobs.models import Job
from layflat.web.people.gate import me
from layflat.web.people.shop import the_shop

_WITH_BODY = (
    "body__body",
    "body__scan",
    "body__panels",
    "body__light",
    "body__lines",
    "body__picture",
    "body__preparation",
    "computation",
)


def the_cover(job: Job, number: int) -> Cover:
    """A cover of a job with its body and its computation.

    Raises:
        Http404: there is none of that number.
    """
    found = job.covers.select_related(*_WITH_BODY).filter(number=number).first()
    if found is None:
        raise Http404(f"Job {job.number} has no cover {number}.")
    found.job = job
    return found


def standing_covers(job: Job) -> list[Cover]:
    """A job's covers with their bodies, those that are not dropped."""
    found = list(job.covers.select_related(*_WITH_BODY).filter(is_dropped=False))
    for cover in found:
        cover.job = job
    return found


def keeps_counter(request: HttpRequest) -> bool:
    """Whether the person chooses covers and sees prices."""
    person = me(request)
    return person is not None and person.keeps_counter


def cover_address(name: str, job: Job, *more: object) -> str:
    """An address of this part for one job."""
    return reverse(f"cover:{name}", args=[job.number, *more])


def sheet_context(
    request: HttpRequest, cover: Cover, *, open_panel: str, says: str = "", refused: str = ""
) -> dict[str, Any]:
    """All that the page of one cover, or its sheet alone, shows.

    Args:
        request: whose.
        cover: from `the_cover`.
        open_panel: whose edges and keep-outs are shown.
        says: what was done.
        refused: why nothing was done.
    """
    job, shop = cover.job, the_shop()
    choices = from_json(cover.choices)
    keeps = keeps_counter(request)
    try:
        rows = rows_of(cover, choices, open_panel=open_panel, shop=shop)
        kept = kept_rows(cover, choices)
        shown = json.dumps(shown_on_body(cover, choices))
    except InputError as error:
        rows, kept, shown, refused = [], [], "{}", str(error)
    may_change = keeps and not why_not(job) and not cover.is_dropped
    undo = last_change(cover) if may_change else None
    return {
        "part": "job",
        "job": job,
        "cover": cover,
        "shop": shop,
        "choices": choices,
        "chosen": [row for row in rows if row.choice],
        "bare": [row for row in rows if not row.choice],
        "open": next((row for row in rows if row.is_open), None),
        "open_panel": open_panel,
        "kept": kept,
        "names": {row.facts.name for row in rows},
        "chosen_kept": [row for row in kept if row.chosen],
        "stand": stand_of(cover, choices, shop),
        "picture_word": choices_word(choices),
        "shown": shown,
        "may_change": may_change,
        "why_not": why_not(job) if keeps else "",
        "undo": undo,
        "undo_words": undo.sentence.removeprefix(f"{cover.title}. ") if undo else "",
        "sees_price": keeps,
        "says": says,
        "refused": refused,
    }
