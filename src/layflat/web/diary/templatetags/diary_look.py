"""Works as people read them."""

from django import template

from layflat.web.diary.models import Booking
from layflat.web.diary.works import BY_KEY

register = template.Library()


@register.filter
def work_title(booking: Booking) -> str:
    """What a booking is, without its job."""
    work = BY_KEY.get(booking.work)
    return work.title if work else booking.words or "Booked"
