"""Machines of the shop, and a section sent to one, row by row."""

from typing import Any

from django.db import transaction

from layflat.base import silent
from layflat.cut import machine_toml
from layflat.web.cutting.models import Section
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person
from layflat.web.sending import asking
from layflat.web.sending.models import Machine, Sending
from layflat.web.sending.values import checked, generic
from layflat.web.work.tasks import find


def a_machine(
    address: str = "tcp://127.0.0.1:9", *, name: str = "Long table", **values: Any
) -> Machine:
    made = checked(generic(), name=name, **{"answers_position": True, **values})
    return Machine.objects.create(name=name, address=address, values=machine_toml(made))


def asked(section: Section, machine: Machine, *, who: Person | None = None) -> Sending:
    """A sending that was asked for and has not begun."""
    with transaction.atomic():
        Job.objects.select_for_update().get(pk=section.layout.job_id)
        fresh = Section.objects.select_related("layout__job", "program").get(pk=section.pk)
        return asking.begin(fresh, machine.pk, is_anew=False, is_ready=True, who=who)


def done(sending: Sending) -> Sending:
    """Run what was asked for, here, as a worker would."""
    find(asking.TASK).run({"sending": sending.pk}, silent)
    return Sending.objects.select_related("section__layout__job", "machine").get(pk=sending.pk)
