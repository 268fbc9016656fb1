"""A job is opened: who asks, for which vehicle, what they wish."""

from dataclasses import dataclass
from datetime import date

from django.utils import timezone

from layflat.web.bodies.models import Revision
from layflat.web.jobs.models import Customer, Job, Vehicle
from layflat.web.jobs.numbers import next_number
from layflat.web.people.models import Person, Shop
from layflat.web.record.models import write_event


@dataclass(frozen=True, kw_only=True)
class Enquiry:
    """What the counter wrote down.

    Attributes:
        customer, vehicle: known ones; a vehicle brings its customer.
        name, phone, email, address: of a new customer.
        plate, vin, body, described, paint: of a new vehicle.
        wishes, wanted: in the customer's words, and the day.
    """

    customer: Customer | None = None
    vehicle: Vehicle | None = None
    name: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""
    plate: str = ""
    vin: str = ""
    body: Revision | None = None
    described: str = ""
    paint: str = ""
    wishes: str = ""
    wanted: date | None = None


def open_job(enquiry: Enquiry, *, shop: Shop, who: Person | None) -> Job:
    """Add the job, and customer and vehicle where they are new; call it in a transaction."""
    vehicle = enquiry.vehicle or Vehicle.objects.create(
        customer=enquiry.customer
        or Customer.objects.create(
            name=enquiry.name, phone=enquiry.phone, email=enquiry.email, address=enquiry.address
        ),
        plate=enquiry.plate,
        vin=enquiry.vin,
        body=enquiry.body,
        described=enquiry.described,
        paint=enquiry.paint,
    )
    job = Job.objects.create(
        number=next_number(shop, timezone.now()),
        vehicle=vehicle,
        wishes=enquiry.wishes,
        wanted=enquiry.wanted,
        assigned=who,
    )
    write_event(
        "job.enquired",
        f"{vehicle.customer} asked about film for {vehicle}.",
        who=who,
        job=job,
        after={"version": job.version},
    )
    return job
