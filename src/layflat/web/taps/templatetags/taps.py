"""The hidden fields of a form that is tapped."""

import uuid
from typing import Any

from django import template

from layflat.web.jobs.models import Job

register = template.Library()


@register.inclusion_tag("taps/fields.html", takes_context=True)
def tap(
    context: dict[str, Any], act: str, job: Job | None = None, next_address: str = ""
) -> dict[str, Any]:
    """The hidden fields by which a form is one tap.

    The form itself::

        <form method="post" action="{% url 'taps:tap' %}" enctype="multipart/form-data" data-tap
              data-tap-shows="piece-3">{% csrf_token %}{% tap "laying.began" job request.path %}

    Args:
        context: the page's.
        act: its name.
        job: that it is about, if any.
        next_address: where a browser without scripts is led; the job's page in the bay by itself.
    """
    user = context.get("user")
    return {
        "key": uuid.uuid4().hex,
        "act": act,
        "job": "" if job is None else job.number,
        "next": next_address,
        "who": "" if user is None else user.pk,
    }
