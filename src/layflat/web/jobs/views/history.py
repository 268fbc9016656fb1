"""A job's history, and taking back what can be taken back."""

from collections.abc import Iterable

from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_POST, require_safe

from layflat.web.jobs.additions import undo_of
from layflat.web.jobs.closing import CLOSED, REOPENED
from layflat.web.jobs.editing import KIND, PARTS, put_back
from layflat.web.jobs.models import Fault, Job
from layflat.web.jobs.stages import SENT_BACK
from layflat.web.jobs.views.common import address, change, the_job
from layflat.web.people.gate import me, only
from layflat.web.people.models import Person, Role
from layflat.web.record.history import Line, Undo
from layflat.web.record.models import Event

_PER_PAGE = 200


def lines_of(job: Job, faults: Iterable[Fault], *, newest: int, who: Person | None) -> list[Line]:
    """The newest events of a job, the newest last, with what *who* can take back."""
    events = list(job.events.order_by("-id")[:newest])[::-1]
    return _with_undo(job, faults, events, who)


def _with_undo(
    job: Job, faults: Iterable[Fault], events: Iterable[Event], who: Person | None
) -> list[Line]:
    by_number = {fault.number: fault for fault in faults}
    events = list(events)
    undone = _earlier_closings(job, events)
    others = undo_of(job, events) if who is not None and who.keeps_counter else {}
    return [
        Line(
            event,
            others.get(event.pk)
            or (None if event.pk in undone else _undo(job, by_number, event, who)),
        )
        for event in events
    ]


def _earlier_closings(job: Job, events: list[Event]) -> set[int]:
    """The job was closed or opened again several times: all but the last, which can be undone."""
    kinds = (CLOSED, REOPENED)
    found = {event.pk for event in events if event.kind in kinds}
    if not found:
        return found
    last = job.events.filter(kind__in=kinds).order_by("-id").values_list("pk", flat=True).first()
    return found - {last}


def _undo(job: Job, faults: dict[int, Fault], event: Event, who: Person | None) -> Undo | None:
    after = event.after or {}
    if event.kind == KIND:
        part = PARTS.get(after.get("part", ""))
        if part is None or who is None or not (who.is_owner or who.role in part.roles):
            return None
        return Undo("Put back", address("put-back", job.number, event.pk), is_form=True)
    fault = faults.get(after.get("fault", 0))
    if fault is not None and job.stage == "intake":
        if event.kind == "fault.added" and not fault.is_withdrawn:
            place = f"#fault-{fault.number}"
            return Undo("Withdraw", address("walk-round", job.number) + place)
        if event.kind == "fault.withdrawn" and fault.is_withdrawn:
            return Undo("Restore", address("restore", job.number, fault.number), is_form=True)
    if who is None or not who.keeps_counter:
        return None
    if after.get("stage") != job.stage:
        return None
    return _undo_move(job, event)


def _undo_move(job: Job, event: Event) -> Undo | None:
    """How a move to the stage where the job stands is taken back."""
    if event.kind == CLOSED:
        return Undo("Open again", address("reopen", job.number), is_form=True)
    if event.kind == REOPENED:
        return Undo("Close again", address("job", job.number) + "#close-job")
    if job.stage in SENT_BACK:
        words = {"offered": "Withdraw", "accepted": "Open again"}.get(job.stage, "Send back")
        return Undo(words, address("job", job.number) + "#send-back")
    return None


@require_safe
def history(request: HttpRequest, number: str) -> HttpResponse:
    """All that happened to a job, the newest last; a long one in pages."""
    job = the_job(number)
    pages = Paginator(job.events.all(), _PER_PAGE)
    page = pages.get_page(request.GET.get("page") or pages.num_pages)
    context = {
        "part": "job",
        "job": job,
        "page": page,
        "lines": _with_undo(job, job.faults.all(), page.object_list, me(request)),
    }
    return render(request, "jobs/history.html", context)


@only(Role.COUNTER, Role.INSTALLER)
@require_POST
def put_event_back(request: HttpRequest, number: str, event: int) -> HttpResponse:
    """Undoes an edit, unless the same was edited again."""
    found = Event.objects.filter(pk=event, job__number=number, kind=KIND).first()
    person = me(request)
    part = PARTS.get((found.before or {}).get("part", "")) if found else None
    if found is None or part is None or person is None:
        raise Http404("There is no such edit.")
    if not person.is_owner and person.role not in part.roles:
        raise PermissionDenied
    return change(
        request,
        number,
        lambda job: put_back(found, job, who=person),
        to=address("job", number),
        said="It is as it was before.",
    )
