"""The shop as templates and other parts see it."""

import datetime
import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import Decimal
from typing import Any

from django.http import HttpRequest

from layflat.web.people.models import Shop

_FORMS = {"iso": "%Y-%m-%d", "day": "%d.%m.%Y", "month": "%m/%d/%Y"}
INCH_MM = 25.4
_FOOT_M = 12 * INCH_MM / 1000
_MINUTES_PER_HOUR = 60


_HELD: ContextVar[Shop | None] = ContextVar("held_shop", default=None)


def the_shop() -> Shop:
    """The shop's row; one with defaults, not saved, before the first start is done."""
    return _HELD.get() or Shop.objects.first() or Shop(name="Layflat")


@contextmanager
def shop_held() -> Iterator[None]:
    """Ask for the shop's row once for all that is read within the block, such as one long page.

    Only for reading: within it a change of the settings is not seen.
    """
    token = _HELD.set(the_shop())
    try:
        yield
    finally:
        _HELD.reset(token)


def shop_context(_request: HttpRequest) -> dict[str, Any]:
    """The shop for every template, asked for once a page and only if it is used."""
    found: list[Shop] = []

    def shop() -> Shop:
        if not found:
            found.append(the_shop())
        return found[0]

    return {"shop": shop}


def shown_length(mm: float, shop: Shop) -> str:
    """A length for people: whole millimetres, or inches to a tenth."""
    return f"{mm / INCH_MM:.1f} in" if shop.inches else f"{mm:.0f} mm"


def fine_number(mm: float, shop: Shop) -> str:
    """A short length as a number in the shop's unit: to 0.1 mm, or to 0.01 in."""
    return f"{mm / INCH_MM:.2f}" if shop.inches else f"{mm:.1f}".removesuffix(".0")


def shown_fine_length(mm: float, shop: Shop) -> str:
    """A short length for people: millimetres to a tenth, or inches to a hundredth."""
    return f"{fine_number(mm, shop)} {'in' if shop.inches else 'mm'}"


def feet(metres: Decimal) -> str:
    """A length of roll in feet, to a tenth."""
    return f"{float(metres) / _FOOT_M:.1f} ft"


def shown_duration(minutes: int) -> str:
    """Minutes as people say them: "2 h 30 min"."""
    hours, rest = divmod(minutes, _MINUTES_PER_HOUR)
    words = ([f"{hours} h"] if hours else []) + ([f"{rest} min"] if rest or not hours else [])
    return " ".join(words)


def shown_day(day: datetime.date, shop: Shop) -> str:
    """A day as the shop writes it."""
    return day.strftime(_FORMS[shop.date_form])


def shop_time(moment: datetime.datetime, shop: Shop) -> datetime.datetime:
    """A moment by the shop's own clock."""
    return moment.astimezone(zoneinfo.ZoneInfo(shop.time_zone))


def shown_moment(moment: datetime.datetime, shop: Shop) -> str:
    """A moment by the shop's own clock, as the shop writes it."""
    local = shop_time(moment, shop)
    return f"{shown_day(local.date(), shop)} {local:%H:%M}"
