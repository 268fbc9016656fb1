"""The invented workshop in a data folder: its people, customers, vehicles and jobs."""

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from django.db import transaction
from django.utils import timezone

from layflat.base import Progress, part_of, silent
from layflat.web.bodies.models import Revision
from layflat.web.jobs.models import Customer, Fault, Job, Stage, Vehicle
from layflat.web.jobs.numbers import next_number
from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import the_shop
from layflat.web.record.models import write_event
from layflat.web.seed_bodies import seed_bodies
from layflat.web.seed_yard import seed_yard

PASSWORD = "lampwick lights the yard"
"""Everybody's in the invented workshop, and no secret: it serves looking around only."""
STAFF = {Role.OWNER: "Odile", Role.COUNTER: "Corin", Role.INSTALLER: "Ines"}


@dataclass(frozen=True, kw_only=True)
class Told:
    """One invented job.

    Attributes:
        customer, phone: who asks.
        plate, described, paint: the vehicle.
        stage, wishes: the job.
        who: has it, or None.
        promised_in: days from today, or None.
        blocked_by: what it waits for, or "".
        faults: panel, kind, note and whether the customer must acknowledge it.
    """

    customer: str
    phone: str
    plate: str
    described: str
    paint: str
    stage: Stage
    wishes: str
    who: Role | None = None
    promised_in: int | None = None
    blocked_by: str = ""
    faults: tuple[tuple[str, str, str, bool], ...] = ()


TOLD = (
    Told(
        customer="Hester Quillan",
        phone="555 0117",
        plate="LY 15 HQ",
        described="Tarnholm Siskwing",
        paint="Dark blue, clear coat as delivered",
        stage=Stage.ACCEPTED,
        wishes="The lamps, which went milky on the last car.",
        who=Role.COUNTER,
        promised_in=-6,
    ),
    Told(
        customer="Ro Tamsel",
        phone="555 0172",
        plate="LY 72 RT",
        described="Tarnholm Siskwing",
        paint="White",
        stage=Stage.ACCEPTED,
        wishes="Hood and lamps, before the drive to the coast.",
        who=Role.INSTALLER,
        promised_in=2,
    ),
    Told(
        customer="Wendla Foxmarrow",
        phone="555 0143",
        plate="LY 204 W",
        described="Tarnholm Siskwing",
        paint="Silver, clear coat as delivered",
        stage=Stage.ACCEPTED,
        wishes="Hood, both fenders and the mirror caps; the washer jets stay as they are.",
        who=Role.INSTALLER,
        promised_in=6,
    ),
    Told(
        customer="Underloaf Bakery",
        phone="555 0110",
        plate="LY 880 B",
        described="Tarnholm Haulbeck",
        paint="White, roof lettered by hand",
        stage=Stage.ACCEPTED,
        wishes="Front bumper, and the sliding door up to the swage line; needed by Monday.",
        who=Role.INSTALLER,
        promised_in=-2,
        blocked_by="film of 1524 mm, ordered",
    ),
    Told(
        customer="Pim Harrowgate",
        phone="555 0176",
        plate="LY 31 PH",
        described="Tarnholm Siskwing",
        paint="Deep green, front bumper painted anew",
        stage=Stage.OFFERED,
        wishes="Nose only, or nose and doors if it fits the budget.",
        who=Role.COUNTER,
        promised_in=9,
        faults=(("bumper-front", "repaint", "Texture differs from the fender beside it.", True),),
    ),
    Told(
        customer="Tolliver Glass Works",
        phone="555 0129",
        plate="LY 512 T",
        described="Tarnholm Haulbeck",
        paint="Grey",
        stage=Stage.OFFERED,
        wishes="Three vans in turn, this one first.",
        who=Role.COUNTER,
        promised_in=0,
        blocked_by="the customer's answer on the door line",
    ),
    Told(
        customer="Saffi Orrin",
        phone="555 0155",
        plate="LY 77 SO",
        described="Tarnholm Siskwing",
        paint="Black",
        stage=Stage.COVER,
        wishes="Whatever stones hit first.",
        who=Role.COUNTER,
        promised_in=12,
        faults=(
            ("hood", "chip", "Two chips near the edge, to the primer.", False),
            ("fender-left", "scratch", "Fine, in the clear coat.", False),
        ),
    ),
    Told(
        customer="Brammel Removals",
        phone="555 0101",
        plate="LY 900 R",
        described="Tarnholm Haulbeck",
        paint="Blue",
        stage=Stage.INTAKE,
        wishes="Doors and rear corners.",
        who=Role.INSTALLER,
        promised_in=1,
        faults=(("door-slide-right", "old film", "Yellowed, lifts at the edge.", True),),
    ),
    Told(
        customer="Ottoline Fenn",
        phone="555 0188",
        plate="",
        described="Tarnholm Siskwing, delivered next month",
        paint="Ordered in red",
        stage=Stage.ENQUIRY,
        wishes="Everything that can be covered, before the first drive.",
        who=Role.COUNTER,
    ),
    Told(
        customer="Gus Wetherby",
        phone="555 0162",
        plate="LY 46 GW",
        described="Tarnholm Siskwing",
        paint="Not known yet",
        stage=Stage.ENQUIRY,
        wishes="Asked by telephone what the hood alone would cost.",
        promised_in=-1,
        blocked_by="a call back",
    ),
)
"""The invented jobs; customers, plates and numbers are made up."""


def is_empty() -> bool:
    """Whether nobody has opened a shop in the data folder yet."""
    return not Person.objects.exists() and not Shop.objects.exists()


def is_invented() -> bool:
    """Whether the invented workshop is in the data folder, and still opens as it did."""
    owner = Person.objects.filter(name=STAFF[Role.OWNER].lower(), role=Role.OWNER).first()
    return owner is not None and owner.check_password(PASSWORD)


def sign_in_lines() -> tuple[str, ...]:
    """What is in the folder and how to sign in, a line each."""
    names = ", ".join(f"{shown.lower()} ({role.label.lower()})" for role, shown in STAFF.items())
    return (
        "The invented workshop Lampwick Yard is open.",
        f"Sign in as {names}; everybody's password is: {PASSWORD}",
    )


def seed_workshop(*, progress: Progress = silent) -> None:
    """Fill an empty data folder with the invented workshop Lampwick Yard.

    Args:
        progress: told each step.

    Raises:
        StoppedError: raised by *progress*; nothing is kept then.
    """
    with transaction.atomic():
        progress("opening the shop", 0.0)
        staff = _open_shop()
        seed_yard(who=staff[Role.OWNER])
        bodies = seed_bodies(who=staff[Role.OWNER], progress=part_of(progress, start=0.05, end=0.9))
        seed_jobs(staff, bodies, progress=part_of(progress, start=0.9, end=1.0))
    progress("workshop opened", 1.0)


def seed_jobs(
    staff: dict[Role, Person],
    bodies: Mapping[str, Revision] = MappingProxyType({}),
    *,
    progress: Progress = silent,
) -> None:
    """Write the invented jobs down, as done by *staff*; call it in a transaction.

    Args:
        staff: a person of each role.
        bodies: by maker and name; a vehicle whose body is not among them is described in words.
        progress: told each step.

    Raises:
        StoppedError: raised by *progress*.
    """
    shop = the_shop()
    for i, told in enumerate(TOLD):
        progress(f"writing down {told.customer}", i / len(TOLD))
        number = next_number(shop, timezone.now())
        _write_job(told, staff, bodies.get(told.described), number=number)


def _open_shop() -> dict[Role, Person]:
    Shop.objects.create(
        name="Lampwick Yard",
        currency="EUR",
        time_zone="UTC",
        tax_rate="0.2000",
        film_per_metre="62.00",
        rate_per_hour="78.00",
        consumables="35.00",
        contact="555 0100",
        film_cost_per_metre="31.50",
        hour_cost="46.00",
        consumables_cost="21.00",
    )
    staff = {
        role: Person.objects.create_person(shown.lower(), password=PASSWORD, role=role, shown=shown)
        for role, shown in STAFF.items()
    }
    write_event("shop.opened", "The shop was opened.", who=staff[Role.OWNER])
    return staff


def _write_job(
    told: Told, staff: dict[Role, Person], body: Revision | None, *, number: str
) -> None:
    today = timezone.now().date()
    customer = Customer.objects.create(name=told.customer, phone=told.phone)
    vehicle = Vehicle.objects.create(
        customer=customer,
        plate=told.plate,
        body=body,
        described="" if body else told.described,
        paint=told.paint,
    )
    promised = (
        None if told.promised_in is None else today + datetime.timedelta(days=told.promised_in)
    )
    job = Job.objects.create(
        number=number,
        vehicle=vehicle,
        stage=told.stage,
        wishes=told.wishes,
        assigned=staff[told.who] if told.who else None,
        promised=promised,
        blocked_by=told.blocked_by,
    )
    counter = staff[Role.COUNTER]
    write_event("job.enquired", f"{told.customer} asked for film.", who=counter, job=job)
    for i, (panel, kind, note, is_warning) in enumerate(told.faults, start=1):
        Fault.objects.create(
            job=job, number=i, panel=panel, kind=kind, note=note, is_warning=is_warning
        )
        write_event("fault.added", f"Fault {i}, {kind}: {note}", who=staff[Role.INSTALLER], job=job)
    if told.blocked_by:
        write_event("job.blocked", f"The job waits for {told.blocked_by}.", who=counter, job=job)
