"""A job's alternatives: beginning, naming, copying, dropping; their pictures."""

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.views.decorators.http import require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.bodies.models import Revision
from layflat.web.cover.alternatives import (
    begin,
    choices_of,
    clean_title,
    copy_title,
    rename,
    set_dropped,
)
from layflat.web.cover.changing import locked_cover, require_open, why_not
from layflat.web.cover.choices import Choices, from_json
from layflat.web.cover.figures import stands_of
from layflat.web.cover.lines import trace_line
from layflat.web.cover.measure import ask_measures
from layflat.web.cover.models import Cover, SavedCover
from layflat.web.cover.panels import BodyPanels, panels_on
from layflat.web.cover.shown import choices_word
from layflat.web.cover.starts import Carried, carried_over, usual_starts
from layflat.web.cover.views.common import cover_address, keeps_counter, standing_covers
from layflat.web.cover.words import Difference, difference, panels_in_words
from layflat.web.jobs.models import Job
from layflat.web.jobs.once import answered_before, note_answer
from layflat.web.jobs.views.common import change, locked_job, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Role, Shop
from layflat.web.people.shop import the_shop


@require_safe
def cover(request: HttpRequest, number: str) -> HttpResponse:
    """The alternatives as cards, and what a new one can begin from."""
    job, shop = the_job(number), the_shop()
    keeps = keeps_counter(request)
    context: dict[str, Any] = {
        "part": "job",
        "job": job,
        "shop": shop,
        "cards": _cards(job, shop),
        "may_change": keeps and not why_not(job),
        "why_not": why_not(job) if keeps else "",
        "sees_price": keeps,
        "dropped": list(job.covers.filter(is_dropped=True)),
    }
    revision = job.vehicle.body
    if revision is None or not revision.is_ready:
        return render(request, "cover/cover.html", context)
    try:
        panels = panels_on(_with_files(revision))
    except InputError as error:
        return render(request, "cover/cover.html", {**context, "fault": str(error)})
    context |= {
        "is_ready": bool(panels.panels) or bool(panels.kept),
        "revision": revision,
        "starts": [
            (start, panels_in_words(start.choices, panels)) for start in usual_starts(panels)
        ],
        "saved": _saved(revision, panels),
        "retired": list(revision.body.saved_covers.filter(is_retired=True)),
    }
    return render(request, "cover/cover.html", context)


def _with_files(revision: Revision) -> Revision:
    return Revision.objects.select_related(
        "body", "scan", "panels", "light", "lines", "picture", "preparation"
    ).get(pk=revision.pk)


def _saved(revision: Revision, panels: BodyPanels) -> list[tuple[SavedCover, str]]:
    saved = revision.body.saved_covers.filter(is_retired=False).select_related("revision")
    return [(item, panels_in_words(from_json(item.choices), panels)) for item in saved]


def _cards(job: Job, shop: Shop) -> list[dict[str, Any]]:
    found = []
    covers = standing_covers(job)
    for item, stand in zip(covers, stands_of(covers, shop), strict=True):
        choices = choices_of(item)
        found.append(
            {
                "cover": item,
                "choices": choices,
                "words": _words(item, choices),
                "stand": stand,
                "picture_word": choices_word(choices),
            }
        )
    return found


def _words(item: Cover, choices: Choices) -> str:
    try:
        return panels_in_words(choices, panels_on(item.body))
    except InputError as error:
        return str(error)


@require_safe
def compare(request: HttpRequest, number: str) -> HttpResponse:
    """The alternatives side by side, with what tells each from the first."""
    job, shop = the_job(number), the_shop()
    keeps = keeps_counter(request)
    cards = _cards(job, shop)
    for card in cards[1:]:
        card["than"] = cards[0]["cover"]
        card["difference"] = _difference(card, cards[0])
    context = {
        "part": "job",
        "job": job,
        "shop": shop,
        "cards": cards,
        "may_change": keeps and not why_not(job),
        "why_not": why_not(job) if keeps else "",
        "sees_price": keeps,
        "dropped": list(job.covers.filter(is_dropped=True)),
    }
    return render(request, "cover/compare.html", context)


def _difference(card: dict[str, Any], first: dict[str, Any]) -> Difference | None:
    if card["cover"].body_id != first["cover"].body_id:
        return None
    try:
        panels = panels_on(card["cover"].body)
    except InputError:
        return None
    return difference(card["choices"], first["choices"], panels)


@only(Role.COUNTER)
@require_POST
def begin_cover(request: HttpRequest, number: str) -> HttpResponse:
    """Begins an alternative: blank, from the usual parts, or from a saved cover."""

    def act(job: Job) -> tuple[Cover, tuple[str, ...]]:
        require_open(job)
        revision = _body_of(job)
        title, what, carried = _start(request.POST.get("start", "blank"), revision)
        made = begin(
            job,
            title=clean_title(request.POST.get("title", ""), fallback=_free_title(job, title)),
            choices=carried.choices,
            body=revision,
            what=what,
            who=me(request),
        )
        # Estimates know of stretch once the panels are measured.
        if revision.panels is not None:
            ask_measures(revision, who=me(request))
        return made, carried.left_out

    return _begun(request, number, act)


def _free_title(job: Job, title: str) -> str:
    taken = {other.title.casefold() for other in job.covers.filter(is_dropped=False)}
    return copy_title(job, title) if title.casefold() in taken else title


def _body_of(job: Job) -> Revision:
    body_id = job.vehicle.body_id
    if body_id is None:
        raise InputError("Say first which body of the library the vehicle has.")
    revision = _with_files(Revision(pk=body_id))
    if not revision.is_ready:
        raise InputError("The body is not prepared yet; wait until its page shows it in 3D.")
    return revision


def _start(name: str, revision: Revision) -> tuple[str, str, Carried]:
    """A starting point: its title, where it begins in words, and its choices on *revision*."""
    if name.startswith("saved-"):
        key = name.removeprefix("saved-")
        saved = (
            SavedCover.objects.select_related("revision")
            .filter(pk=int(key) if key.isdecimal() else 0, body=revision.body, is_retired=False)
            .first()
        )
        if saved is None:
            raise InputError("This saved cover is no longer there; choose another start.")
        carried = _carried(from_json(saved.choices), saved.revision, revision)
        return saved.title, f"from the saved cover “{saved.title}”", carried
    for start in usual_starts(panels_on(revision)):
        if start.name == name:
            return start.title, f"as “{start.title}”", Carried(start.choices, ())
    return "New alternative", "on the bare vehicle", Carried(Choices(), ())


def _carried(choices: Choices, source: Revision, target: Revision) -> Carried:
    def can_trace(panel: str, line: Any, keep: Any) -> bool:
        try:
            trace_line(target, panel, line, keep)
        except LayflatError:
            return False
        return True

    return carried_over(choices, source=source, target=target, can_trace=can_trace)


def _begun(
    request: HttpRequest, number: str, act: Callable[[Job], tuple[Cover, tuple[str, ...]]]
) -> HttpResponse:
    """Add an alternative once, in one transaction, and lead to it."""
    try:
        with transaction.atomic():
            before = answered_before(request)
            if before is not None:
                return before
            job = locked_job(number)
            made, left_out = act(job)
            answer = note_answer(request, cover_address("choose", job, made.number))
    except LayflatError as error:
        messages.error(request, str(error))
        return HttpResponseRedirect(cover_address("cover", the_job(number)))
    for sentence in left_out:
        messages.warning(request, sentence)
    return answer


@only(Role.COUNTER)
@require_POST
def copy_cover(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """A new alternative that begins as another one is now, on the vehicle's present body."""

    def act(job: Job) -> tuple[Cover, tuple[str, ...]]:
        source, revision = locked_cover(job, cover), _body_of(job)
        if revision.body_id != source.body.body_id:
            raise InputError("The vehicle has another body by now; begin a new alternative.")
        carried = _carried(choices_of(source), source.body, revision)
        made = begin(
            job,
            title=copy_title(job, source.title),
            choices=carried.choices,
            body=revision,
            what=f"as “{source.title}”",
            who=me(request),
        )
        return made, carried.left_out

    return _begun(request, number, act)


@only(Role.COUNTER)
@require_POST
def rename_cover(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Gives an alternative another title."""

    def act(job: Job) -> None:
        rename(
            locked_cover(job, cover),
            title=request.POST.get("title", ""),
            seen=request.POST.get("was", ""),
            who=me(request),
        )

    return change(request, number, act, to=cover_address("compare", the_job(number)))


@only(Role.COUNTER)
@require_POST
def drop_cover(request: HttpRequest, number: str, cover: int) -> HttpResponse:
    """Offers an alternative no longer, or again."""
    is_dropped = request.POST.get("dropped") == "yes"
    return change(
        request,
        number,
        lambda job: set_dropped(job, cover, is_dropped=is_dropped, who=me(request)),
        to=cover_address("compare", the_job(number)),
        said="It can be restored below." if is_dropped else "It is offered again.",
    )
