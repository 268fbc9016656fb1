"""The hidden fields of a form that is tapped."""

import uuid
from typing import Any

from django import template

from layflat.web.jobs.models import Job
from layflat.web.jobs.pictures import MOST_BYTES

register = template.Library()


@register.inclusion_tag("taps/fields.html", takes_context=True)
def tap(
    context: dict[str, Any], act: str, job: Job | None = None, next_address: str = ""
) -> dict[str, Any]:
    """The hidden fields by which a form is one tap.

    The form itself::

        <form method="post" action="{% url 'taps:tap' %}" enctype="multipart/form-data" data-tap
              data-tap-shows="piece-3">{% csrf_token %}{% tap "laying.began" job request.path %}

    `data-tap-shows` names elements that say that the tap is kept, sent or did not go in;
    `data-tap-opens` names forms that can be used once it is kept, and these name it in
    `data-tap-needs`. A form that may be sent again and again, each time as another tap, carries
    `data-tap-again`.

    Args:
        context: the page's.
        act: its name.
        job: that it is about, if any.
        next_address: where a browser without scripts is led.
    """
    user = context.get("user")
    return {
        "key": uuid.uuid4().hex,
        "act": act,
        "job": "" if job is None else job.number,
        "next": next_address,
        "who": "" if user is None else user.pk,
    }


@register.inclusion_tag("taps/strip.html", takes_context=True)
def taps_strip(
    context: dict[str, Any], *, quiet: bool = False, reopens: bool = False
) -> dict[str, Any]:
    """The strip at the foot that says what is kept on the tablet, and the place that sends it.

    Pages with forms that are tapped have it, and `taps/head.html` in their head. Parts of such a
    page that taps change carry an id and `data-taps-part`; they are brought up to date in place.

    Args:
        context: the page's.
        quiet: whether it hides while nothing is kept.
        reopens: whether the page is to be opened again without the network.
    """
    return {
        "user": context.get("user"),
        "most_bytes": MOST_BYTES,
        "quiet": quiet,
        "reopens": reopens,
    }
