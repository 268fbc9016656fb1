"""Every job, open and closed: a list in pages, and a search in it."""

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from layflat.web.folding import typed
from layflat.web.jobs.models import Job
from layflat.web.jobs.searching import WHICH, find_jobs
from layflat.web.people.shop import shop_time, the_shop

_PER_PAGE = 50


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """The jobs that match what was typed; straight to the job whose number was typed whole."""
    text = typed(request.GET.get("q", ""))
    which = request.GET.get("which", "")
    which = which if which in WHICH else ""
    if text and Job.objects.filter(number=text).exists():
        return redirect("jobs:job", text)
    pages = Paginator(
        find_jobs(text, which=which).select_related(
            "vehicle__customer", "vehicle__body__body", "assigned"
        ),
        _PER_PAGE,
    )
    page = pages.get_page(request.GET.get("page"))
    context = {
        "part": "jobs",
        "searched": text,
        "which": which,
        "choices": [(words, _address(text, name), name == which) for name, words in WHICH.items()],
        "page": page,
        "earlier": _address(text, which, page.number - 1) if page.has_previous() else "",
        "later": _address(text, which, page.number + 1) if page.has_next() else "",
        "today": shop_time(timezone.now(), the_shop()).date(),
    }
    return render(request, "jobs/find.html", context)


def _address(text: str, which: str, page: int = 1) -> str:
    asked = {"q": text, "which": which, "page": str(page) if page > 1 else ""}
    said = urlencode({name: value for name, value in asked.items() if value})
    return reverse("jobs:find") + (f"?{said}" if said else "")
