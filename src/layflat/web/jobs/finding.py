"""Customers, vehicles and bodies that the shop knows, found while somebody types."""

from dataclasses import dataclass
from typing import Final

from django.db.models import F, OuterRef, Prefetch, Q, QuerySet, Subquery, Value
from django.db.models.functions import Replace

from layflat.web.bodies.models import Body, Revision
from layflat.web.folding import bare, folded, typed
from layflat.web.jobs.models import Customer, Vehicle

SHORTEST: Final = 2
"""Fewer characters find nothing: nearly everything would match."""
MOST: Final = 8
_IN_PHONES: Final = " -/()."


@dataclass(frozen=True)
class Choice:
    """One thing to choose: its value in the form, and its words."""

    value: str
    words: str
    more: str = ""


@dataclass(frozen=True)
class Known:
    """A customer whom the shop knows, with vehicles."""

    customer: Customer
    vehicles: tuple[Vehicle, ...]

    @property
    def choices(self) -> list[Choice]:
        """Each vehicle of the customer, then another one."""
        owner = f"c{self.customer.pk}"
        return [
            *(
                Choice(f"{owner}v{vehicle.pk}", str(vehicle), _more(vehicle))
                for vehicle in self.vehicles
            ),
            Choice(owner, "another vehicle"),
        ]


def find_customers(text: str) -> list[Known]:
    """Customers by a part of their name, phone number or a vehicle's plate or VIN, at most `MOST`.

    Capitals and accents do not matter, nor spaces and hyphens in numbers and plates.
    """
    text = typed(text)
    if len(text) < SHORTEST:
        return []
    found = Q(name_folded__contains=folded(text))
    if bare(text):
        with_marks = Vehicle.objects.filter(marks_folded__contains=bare(text))
        found |= Q(pk__in=with_marks.values("customer"))
    phone = _without(text, _IN_PHONES)
    if phone.removeprefix("+").isdecimal():
        found |= Q(bare_phone__contains=phone)
    customers = (
        Customer.objects.annotate(bare_phone=_bare_phone()).filter(found).order_by("name", "id")
    )
    return _with_vehicles(customers[:MOST])


def known_customer(customer_id: int) -> list[Known]:
    """The customer of that id, with vehicles; nothing when there is none."""
    return _with_vehicles(Customer.objects.filter(pk=customer_id))


def find_bodies(text: str, *, chosen: str = "") -> list[Revision]:
    """The newest revision of bodies that match every word, at most `MOST`.

    Each word must be in the maker, the name or the note, or be a year of theirs. A revision that is
    *chosen* already, by its row number, comes first.
    """
    words = typed(text).split()
    kept = (
        list(Revision.objects.filter(pk=int(chosen)).select_related("body"))
        if chosen.isdecimal() and len(chosen) < 19
        else []
    )
    if len("".join(words)) < SHORTEST:
        return kept
    bodies = Body.objects.filter(is_retired=False)
    for word in words:
        by_word = Q(words_folded__contains=folded(word))
        if word.isdecimal() and len(word) <= 4:
            year = int(word)
            from_then = Q(year_from__isnull=True) | Q(year_from__lte=year)
            until_then = Q(year_to__isnull=True) | Q(year_to__gte=year)
            dated = Q(year_from__isnull=False) | Q(year_to__isnull=False)
            by_word |= from_then & until_then & dated
        bodies = bodies.filter(by_word)
    newest = Revision.objects.filter(body=OuterRef("body")).order_by("-number").values("pk")[:1]
    found = (
        Revision.objects.filter(body__in=bodies, pk=Subquery(newest))
        .select_related("body")
        .order_by("body__maker", "body__name", "body__year_from")[:MOST]
    )
    return kept + [revision for revision in found if revision not in kept]


def _more(vehicle: Vehicle) -> str:
    words = str(vehicle.body.body) if vehicle.body else vehicle.described
    return "" if words == str(vehicle) else words


def _with_vehicles(customers: QuerySet[Customer]) -> list[Known]:
    vehicles = Prefetch("vehicles", Vehicle.objects.select_related("body__body").order_by("-id"))
    return [
        Known(customer, tuple(customer.vehicles.all()))
        for customer in customers.prefetch_related(vehicles)
    ]


def _bare_phone() -> Replace | F:
    expression: Replace | F = F("phone")
    for mark in _IN_PHONES:
        expression = Replace(expression, Value(mark), Value(""))
    return expression


def _without(text: str, marks: str) -> str:
    return text.translate({ord(mark): None for mark in marks})
