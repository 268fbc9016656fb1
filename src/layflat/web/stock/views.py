"""The stock: the list of rolls, a new roll, a roll's page and what is done there."""

from collections.abc import Callable, Mapping
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from layflat.base import InputError, LayflatError
from layflat.web.folding import typed
from layflat.web.jobs.once import answered_before, note_answer
from layflat.web.links.listing import is_local
from layflat.web.people.gate import me, only
from layflat.web.people.models import Person, Role
from layflat.web.people.shop import shop_held, shop_time, shown_length, the_shop
from layflat.web.stock import doing
from layflat.web.stock.additions import added_to, added_to_list
from layflat.web.stock.amounts import film_length, read_length, read_width
from layflat.web.stock.beside import is_by_hand
from layflat.web.stock.booking import receive as receive_roll
from layflat.web.stock.faults import ASIDE_MM, gone_faults
from layflat.web.stock.label import label_pdf
from layflat.web.stock.listing import ORDER, WHICH, find_rolls, shown_rolls, with_all, with_balance
from layflat.web.stock.models import Fault, Roll

_PER_PAGE = 40
_MOVES_PER_PAGE = 50


@require_safe
def stock(request: HttpRequest) -> HttpResponse:
    """Rolls and offcuts, drawn to scale."""
    with shop_held():
        return _stock(request)


def _stock(request: HttpRequest) -> HttpResponse:
    shop = the_shop()
    text, which = typed(request.GET.get("q", "")), request.GET.get("which", "")
    which = which if which in WHICH else ""
    pages = Paginator(find_rolls(text, which=which).values_list("pk", flat=True), _PER_PAGE)
    page = pages.get_page(request.GET.get("page"))
    # What is drawn is asked for these only, not for every roll that there ever was.
    these = with_all(Roll.objects.filter(pk__in=list(page))).order_by(*ORDER)
    shown, rule = shown_rolls(list(these), shop)
    context: dict[str, Any] = {
        "part": "stock",
        "searched": text,
        "which": which,
        "choices": [(words, _address(text, name), name == which) for name, words in WHICH.items()],
        "page": page,
        "rolls": shown,
        "rule": rule,
        "earlier": _address(text, which, page.number - 1) if page.has_previous() else "",
        "later": _address(text, which, page.number + 1) if page.has_next() else "",
        "is_empty": not pages.count and not Roll.objects.exists(),
    }
    more: dict[str, Any] = {}
    # Who looks for a roll is not asking what to buy.
    if not text and not which and page.number == 1 and not context["is_empty"]:
        context["added"], more = added_to_list()
    return render(request, "stock/stock.html", context | more)


def _address(text: str, which: str, page: int = 1) -> str:
    asked = {"q": text, "which": which, "page": str(page) if page > 1 else ""}
    said = urlencode({name: value for name, value in asked.items() if value})
    return reverse("stock:stock") + (f"?{said}" if said else "")


@only(Role.COUNTER)
@require_http_methods(["GET", "POST"])
def receive(request: HttpRequest) -> HttpResponse:
    """A roll that came in."""
    shop, who = the_shop(), me(request)
    today = shop_time(timezone.now(), shop).date()
    values: Mapping[str, str] = {"day": today.isoformat()}
    error = ""
    if request.method == "POST":
        values = _sent(request)
        try:
            with transaction.atomic():
                before = answered_before(request)
                if before is not None:
                    return before
                roll = _received(values, who)
                answer = note_answer(request, reverse("stock:roll", args=[roll.pk]))
        except LayflatError as refused:
            error = str(refused)
        else:
            words = f"{film_length(roll.left_mm, shop)} of {roll.film}"
            wide = shown_length(roll.width_mm, shop)
            said = f"{roll} is in stock: {words}, {wide} wide. Write {roll} on it."
            messages.success(request, said)
            return answer
    known = Roll.objects.order_by("-id")
    context = {
        "part": "stock",
        "values": values,
        "error": error,
        "today": today,
        "films": sorted(set(known.values_list("film", flat=True)[:200])),
        "places": sorted(set(known.exclude(place="").values_list("place", flat=True)[:200])),
    }
    return render(request, "stock/receive.html", context)


def _received(values: Mapping[str, str], who: Person | None) -> Roll:
    shop = the_shop()
    try:
        day = parse_date(values.get("day", ""))
    except ValueError:
        day = None
    if day is None:
        raise InputError("Say on which day the roll came.")
    return receive_roll(
        film=values.get("film", ""),
        lot=values.get("lot", ""),
        width_mm=read_width(values.get("width", ""), shop),
        length_mm=read_length(values.get("length", ""), shop),
        cost=doing.read_cost(values.get("cost", "")) if who is not None and who.is_owner else None,
        place=values.get("place", ""),
        received_on=day,
        who=who,
    )


def _sent(request: HttpRequest) -> dict[str, str]:
    return {name: str(value) for name, value in request.POST.items()}


@require_safe
def roll(request: HttpRequest, roll: int) -> HttpResponse:
    """A roll: what is left of it, for whom, and all that ever moved."""
    with shop_held():
        return _page(request, roll)


def _page(
    request: HttpRequest, pk: int, *, tried: str = "", error: str = "", values: Any = None
) -> HttpResponse:
    shop = the_shop()
    found = with_all(Roll.objects.filter(pk=pk)).first()
    if found is None:
        raise Http404("There is no such roll.")
    (shown,), rule = shown_rolls([found], shop)
    moves = found.movements.select_related("job", "who", "gives_back").order_by("-id")
    page = Paginator(moves, _MOVES_PER_PAGE).get_page(request.GET.get("page"))
    lines = with_balance(found, list(page), is_newest=page.number == 1)
    tried_fault = (values or {}).get("fault", "")
    ended = found.reservations.filter(ended_at__isnull=False).select_related("job", "who")
    context = {
        "part": "stock",
        "shown": shown,
        "roll": found,
        "rule": rule,
        "page": page,
        "lines": lines,
        "offcuts": found.offcuts.all(),
        "may_be_not_kept": not found.is_finished and is_by_hand(found),
        "ended": ended.order_by("-id")[:20],
        "tried": tried,
        "tried_fault": tried_fault,
        "error": error,
        "values": values or {},
        "kinds": Fault.Kind.choices,
        "gone": gone_faults(found, [flaw.place for flaw in shown.strip.flaws]),
        "aside_mm": ASIDE_MM,
        "is_local": is_local(request.get_host()),
    }
    context["added"], more = added_to(found)
    return render(request, "stock/roll.html", context | more)


def _change(
    request: HttpRequest, pk: int, name: str, act: Callable[[Roll, Mapping[str, str]], str]
) -> HttpResponse:
    """Do one thing to a roll, once, if nobody changed it since the page was opened.

    What was typed stays in the form when it is refused.
    """
    to, values = reverse("stock:roll", args=[pk]), _sent(request)
    try:
        with transaction.atomic():
            before = answered_before(request, went_to=to)
            if before is not None:
                return before
            said = doing.changed(pk, values, act)
    except LayflatError as error:
        return _page(request, pk, tried=name, error=str(error), values=values)
    if said:
        messages.success(request, said)
    return HttpResponseRedirect(to)


@require_POST
def correct(request: HttpRequest, roll: int) -> HttpResponse:
    """What was measured counts."""
    return _change(request, roll, "correct", doing.correcting(me(request)))


@require_POST
def discard(request: HttpRequest, roll: int) -> HttpResponse:
    """Throw some of it, or all, away."""
    return _change(request, roll, "discard", doing.discarding(me(request)))


@require_POST
def offcut(request: HttpRequest, roll: int) -> HttpResponse:
    """Keep a rest as an offcut."""
    return _change(request, roll, "offcut", doing.cutting_off(me(request)))


@require_POST
def not_kept(request: HttpRequest, roll: int) -> HttpResponse:
    """A rest that was kept by hand was not kept."""
    return _change(request, roll, "not-kept", doing.not_keeping(me(request)))


@require_POST
def place(request: HttpRequest, roll: int) -> HttpResponse:
    """Say where it lies."""
    return _change(request, roll, "place", doing.placing(me(request)))


@only(Role.COUNTER)
@require_POST
def rename(request: HttpRequest, roll: int) -> HttpResponse:
    """Film or lot was written down wrongly."""
    return _change(request, roll, "rename", doing.renaming(me(request)))


@require_POST
def release(request: HttpRequest, roll: int) -> HttpResponse:
    """Give a job's reservation back."""
    return _change(request, roll, "release", doing.releasing(me(request)))


@only()
@require_POST
def cost(request: HttpRequest, roll: int) -> HttpResponse:
    """What the roll cost; for the owner."""
    return _change(request, roll, "cost", doing.costing)


@require_POST
def fault(request: HttpRequest, roll: int) -> HttpResponse:
    """Note a fault."""
    return _change(request, roll, "fault", doing.noting_fault(me(request)))


@require_POST
def fault_right(request: HttpRequest, roll: int) -> HttpResponse:
    """A fault was measured or named wrongly."""
    return _change(request, roll, "fault-right", doing.correcting_fault(me(request)))


@require_POST
def fault_gone(request: HttpRequest, roll: int) -> HttpResponse:
    """A fault is not there."""
    return _change(request, roll, "fault-gone", doing.taking_fault_back(me(request)))


@require_POST
def fault_there(request: HttpRequest, roll: int) -> HttpResponse:
    """A fault that was taken back is there all the same."""
    return _change(request, roll, "fault-there", doing.putting_fault_back(me(request)))


@require_safe
def label(request: HttpRequest, roll: int) -> HttpResponse:
    """What is stuck on a roll or offcut, by which it is found again."""
    found = Roll.objects.select_related("cut_from").filter(pk=roll).first()
    if found is None:
        raise Http404("There is no such roll.")
    address = request.build_absolute_uri(
        f"{reverse('finding:find')}?{urlencode({'q': str(found)})}"
    )
    try:
        data = label_pdf(found, the_shop(), address=address)
    except LayflatError as error:
        raise Http404(str(error)) from error
    headers = {
        "Content-Disposition": f'inline; filename="{found}.pdf"',
        "Cache-Control": "no-store",
    }
    return HttpResponse(data, content_type="application/pdf", headers=headers)
