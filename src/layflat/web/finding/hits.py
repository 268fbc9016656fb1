"""What one box finds: jobs, customers, vehicles, lots and rolls, each by what is written of it."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from django.urls import reverse
from django.utils.http import urlencode

from layflat.web.folding import bare, folded
from layflat.web.jobs.finding import find_customers
from layflat.web.jobs.models import Job, Vehicle
from layflat.web.jobs.searching import find_jobs
from layflat.web.people.models import Shop
from layflat.web.people.shop import shown_length
from layflat.web.stock.amounts import film_length
from layflat.web.stock.listing import find_rolls, roll_number
from layflat.web.stock.models import Roll

MOST: Final = 8
"""So many hits of a kind are shown; more are reached by a link."""
SHORTEST: Final = 2


@dataclass(frozen=True, kw_only=True)
class Hit:
    """One thing that was found.

    Attributes:
        name: large, the link.
        address: where it leads.
        words, more: what it is, and further words; "" for none.
        plate: a number plate to draw before the words, or "".
        jobs: of a vehicle, the newest first, at most `MOST`: number, address, where it stands.
        all_jobs: the address of all its jobs, where there are more; or "".
    """

    name: str
    address: str
    words: str = ""
    more: str = ""
    plate: str = ""
    jobs: tuple[tuple[str, str, str], ...] = ()
    all_jobs: str = ""


@dataclass(frozen=True, kw_only=True)
class Group:
    """Hits of a kind.

    Attributes:
        title: of the kind.
        hits: at most `MOST`.
        all_words, all_address: a link to all of them; "" when these are all.
    """

    title: str
    hits: list[Hit] = field(default_factory=list)
    all_words: str = ""
    all_address: str = ""


def straight_to(text: str) -> str:
    """The address of what is meant without doubt: a whole job number or roll number; or "".

    A roll's number may stand in the address that its label's code holds, as scanners type it.
    """
    code = re.fullmatch(r"https?://\S+/find/\?q=(R[0-9]+)", text)
    text = code[1] if code else text
    if Job.objects.filter(number=text).exists():
        return reverse("jobs:job", args=[text])
    number = roll_number(text) if text[:1] in ("R", "r") else None
    if number is not None:
        roll = Roll.objects.filter(number=number).values_list("pk", flat=True).first()
        return reverse("stock:roll", args=[roll]) if roll is not None else ""
    return ""


def find(text: str, shop: Shop) -> list[Group]:
    """All groups in which something is found, in one or two queries each.

    A car stands once, with its jobs; neither these nor its customer are listed again, unless the
    customer is found by name or phone.
    """
    if len(text) < SHORTEST:
        return []
    vehicles, cars = _vehicles(text)
    groups = (vehicles, _jobs(text, cars), _customers(text, cars), _lots(text, shop))
    return [group for group in (*groups, _rolls(text, shop)) if group.hits]


def whole_lot(text: str, groups: Iterable[Group]) -> str:
    """The address of a lot written out in full, when nothing but film is found with it; or ""."""
    found = {group.title: group.hits for group in groups}
    if not set(found) <= {"Lots", "Rolls"}:
        return ""
    wanted = bare(text)
    return next((hit.address for hit in found.get("Lots", []) if bare(hit.name) == wanted), "")


def _asked(address: str, **values: str) -> str:
    return f"{address}?{urlencode(values)}"


def _jobs(text: str, cars: Sequence[Vehicle]) -> Group:
    """Jobs by number, plate, VIN or customer, without those of *cars*."""
    rows = find_jobs(text).select_related("vehicle__customer", "vehicle__body__body")
    rows = rows.exclude(vehicle__in=[car.pk for car in cars])
    found = list(rows[: MOST + 1])
    hits = [
        Hit(
            name=job.number,
            address=reverse("jobs:job", args=[job.number]),
            plate=job.vehicle.plate,
            words=_model(job.vehicle),
            more=f"{job.vehicle.customer}, {job.get_stage_display()}",
        )
        for job in found[:MOST]
    ]
    if len(found) <= MOST:
        return Group(title="Jobs", hits=hits)
    every = _asked(reverse("jobs:find"), q=text)
    return Group(title="Jobs", hits=hits, all_words="All these jobs", all_address=every)


def _model(vehicle: Vehicle) -> str:
    return str(vehicle.body.body) if vehicle.body else vehicle.described


def _vehicles(text: str) -> tuple[Group, list[Vehicle]]:
    """By plate or VIN only: a customer's name finds the customer. The hits, and their rows."""
    marks = bare(text)
    if len(marks) < SHORTEST:
        return Group(title="Vehicles"), []
    rows = Vehicle.objects.filter(marks_folded__contains=marks)
    rows = rows.select_related("customer", "body__body")
    found = list(rows.order_by("-pk")[: MOST + 1])
    cars = found[:MOST]
    jobs: dict[int, list[Job]] = {}
    for job in Job.objects.filter(vehicle__in=cars).order_by("-pk"):
        jobs.setdefault(job.vehicle_id, []).append(job)
    more = "Jobs of all these vehicles" if len(found) > MOST else ""
    address = _asked(reverse("jobs:find"), q=text) if more else ""
    hits = [_car(vehicle, jobs.get(vehicle.pk, [])) for vehicle in cars]
    return Group(title="Vehicles", hits=hits, all_words=more, all_address=address), cars


def _car(vehicle: Vehicle, jobs: Sequence[Job]) -> Hit:
    mark = vehicle.plate or vehicle.vin
    every = _asked(reverse("jobs:find"), q=mark)
    return Hit(
        name=mark,
        address=reverse("jobs:job", args=[jobs[0].number]) if len(jobs) == 1 else every,
        words=_model(vehicle),
        more=f"{vehicle.customer}, {_jobs_in_words(len(jobs))}",
        jobs=tuple(
            (job.number, reverse("jobs:job", args=[job.number]), job.get_stage_display())
            for job in jobs[:MOST]
        ),
        all_jobs=every if len(jobs) > MOST else "",
    )


def _jobs_in_words(count: int) -> str:
    return "no job" if count == 0 else "1 job" if count == 1 else f"{count} jobs"


def _customers(text: str, cars: Sequence[Vehicle]) -> Group:
    """By name or phone; whoever is found by one of *cars* alone stands beside it already."""
    wanted, owners = folded(text), {car.customer_id for car in cars}
    hits = []
    for known in find_customers(text):
        customer = known.customer
        if customer.pk in owners and wanted not in customer.name_folded:
            continue
        vehicles = ", ".join(str(vehicle) for vehicle in known.vehicles)
        address = _asked(reverse("jobs:find"), q=customer.name)
        hits.append(Hit(name=customer.name, address=address, words=vehicles or "no vehicle yet"))
    return Group(title="Customers", hits=hits)


def _lots(text: str, shop: Shop) -> Group:
    """Each lot once, however it is written, with the number of its rolls and what is left."""
    wanted = bare(text)
    if not wanted:
        return Group(title="Lots")
    rows = Roll.objects.filter(lot_bare__contains=wanted).order_by("-pk")
    rolls = list(rows.values_list("lot_bare", "lot", "film", "left_mm")[:400])
    by_lot: dict[str, list[tuple[str, str, int]]] = {}
    for lot_bare, lot, film, left_mm in rolls:
        by_lot.setdefault(lot_bare, []).append((lot, film, left_mm))
    hits = []
    for rows_of_lot in list(by_lot.values())[:MOST]:
        lot, film, _ = rows_of_lot[0]
        left = film_length(sum(left_mm for _, _, left_mm in rows_of_lot), shop)
        count = len(rows_of_lot)
        hits.append(
            Hit(
                name=lot,
                address=reverse("finding:lot", args=[lot]),
                words=f"{film}, {count} {'roll' if count == 1 else 'rolls'}, {left} left",
                more="Which cars carry it",
            )
        )
    is_more = len(by_lot) > MOST
    every = _asked(reverse("stock:stock"), q=text, which="all") if is_more else ""
    more = "Rolls of all these lots" if is_more else ""
    return Group(title="Lots", hits=hits, all_words=more, all_address=every)


def _rolls(text: str, shop: Shop) -> Group:
    found = list(find_rolls(text, which="all")[: MOST + 1])
    hits = [
        Hit(
            name=str(roll),
            address=reverse("stock:roll", args=[roll.pk]),
            words=f"{roll.film}, lot {roll.lot}, {shown_length(roll.width_mm, shop)} wide",
            more="Finished" if roll.is_finished else _left(roll, shop),
        )
        for roll in found[:MOST]
    ]
    is_more = len(found) > MOST
    every = _asked(reverse("stock:stock"), q=text, which="all") if is_more else ""
    more = "All these rolls" if is_more else ""
    return Group(title="Rolls", hits=hits, all_words=more, all_address=every)


def _left(roll: Roll, shop: Shop) -> str:
    left = f"{film_length(roll.left_mm, shop)} left"
    return f"{left}, {roll.place}" if roll.place else left
