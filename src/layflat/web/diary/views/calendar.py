"""The calendar by week or day, and the feeds that other calendars ask."""

import datetime
from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from layflat.web.diary import feeds
from layflat.web.diary.hours import hours_of
from layflat.web.diary.ics import MEDIA_TYPE
from layflat.web.diary.shown import table
from layflat.web.diary.suggest import places
from layflat.web.diary.views.common import day_asked, doer
from layflat.web.people.gate import open_to_strangers
from layflat.web.people.shop import shown_day, the_shop

_NOTHING: Final = b"There is no such calendar.\n"
_PRIVATE: Final = {
    "Cache-Control": "no-store, private",
    "Referrer-Policy": "no-referrer",
    "X-Robots-Tag": "noindex, nofollow, noarchive",
}


@require_safe
def calendar(request: HttpRequest) -> HttpResponse:
    """A week, or a day, by place and person."""
    shop = the_shop()
    hours = hours_of(shop)
    day = day_asked(request, hours)
    is_day = request.GET.get("view") == "day"
    first = day if is_day else day - datetime.timedelta(days=day.weekday())
    days = 1 if is_day else 7
    places()
    today = hours.day_of(timezone.now())
    step = datetime.timedelta(days=days)
    context = {
        "part": "calendar",
        "day": day,
        "is_day": is_day,
        "table": table(first, days, hours=hours, shop=shop, today=today),
        "earlier": first - step,
        "later": first + step,
        "today": today,
        "is_now": first <= today < first + step,
        "heading": shown_day(first, shop),
        "heading_until": "" if is_day else shown_day(first + step - datetime.timedelta(1), shop),
        "may_place": doer(request).keeps_counter,
    }
    return render(request, "diary/calendar.html", context)


@open_to_strangers
@require_safe
def feed(_request: HttpRequest, feed: str) -> HttpResponse:
    """A feed; whatever opens nothing is answered alike."""
    found = feeds.find(feed)
    if found is None:
        answer = HttpResponse(_NOTHING, status=404, content_type="text/plain; charset=utf-8")
    else:
        answer = HttpResponse(feeds.text_of(found), content_type=MEDIA_TYPE)
    for name, value in _PRIVATE.items():
        answer[name] = value
    return answer
