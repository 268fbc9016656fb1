"""People of the shop and the shop itself."""

from typing import ClassVar

from django.contrib.auth.base_user import BaseUserManager
from django.contrib.auth.models import AbstractBaseUser
from django.db import models


class Role(models.TextChoices):
    """What a person does in the shop."""

    OWNER = "owner", "Owner"
    COUNTER = "counter", "Counter"
    INSTALLER = "installer", "Installer"


class PersonManager(BaseUserManager["Person"]):
    """Makes people."""

    def create_person(self, name: str, *, password: str, role: Role, shown: str = "") -> "Person":
        """A person who signs in as *name*; others see *shown*, or else the name."""
        person = self.model(name=name.strip().lower(), shown=shown or name, role=role)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in.

    Attributes:
        name: typed at sign-in; small letters.
        shown: how others see the person.
        role: what the person may see and do.
        is_active: whether the person may sign in; people are never deleted, the record names them.
    """

    name = models.CharField(max_length=60, unique=True)
    shown = models.CharField(max_length=80)
    role = models.CharField(max_length=12, choices=Role.choices)
    is_active = models.BooleanField(default=True)

    objects: ClassVar[PersonManager] = PersonManager()
    USERNAME_FIELD = "name"

    def __str__(self) -> str:
        return self.shown

    @property
    def is_owner(self) -> bool:
        """Whether the person sees margins and changes prices and people."""
        return self.role == Role.OWNER

    @property
    def keeps_counter(self) -> bool:
        """Whether the person deals with customers and offers."""
        return self.role in (Role.OWNER, Role.COUNTER)


class Shop(models.Model):
    """The shop: one row.

    Attributes:
        name: as it stands on papers.
        inches: whether people see inches; values are kept in millimetres.
        currency: ISO 4217.
        time_zone: of the IANA database.
        date_form: how days are written.
        tax_rate: a fraction.
        contact: how customers reach the shop, as it stands on offers and private pages.
        film_per_metre, rate_per_hour, consumables: what offers are made from, in the currency.
        film_cost_per_metre, hour_cost, consumables_cost: what the shop itself pays for the same;
            only the owner sees them and the margin that they leave.
        roll_width_mm: of the usual roll.
    """

    class DateForm(models.TextChoices):
        """Days as people write them."""

        ISO = "iso", "2031-05-24"
        DAY_FIRST = "day", "24.05.2031"
        MONTH_FIRST = "month", "05/24/2031"

    name = models.CharField(max_length=120)
    inches = models.BooleanField(default=False)
    currency = models.CharField(max_length=3, default="EUR")
    time_zone = models.CharField(max_length=60, default="UTC")
    date_form = models.CharField(max_length=6, choices=DateForm.choices, default=DateForm.ISO)
    tax_rate = models.DecimalField(max_digits=5, decimal_places=4, default=0)
    film_per_metre = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    rate_per_hour = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    consumables = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    roll_width_mm = models.FloatField(default=1524.0)
    contact = models.CharField(max_length=200, blank=True)
    film_cost_per_metre = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    hour_cost = models.DecimalField(max_digits=9, decimal_places=2, default=0)
    consumables_cost = models.DecimalField(max_digits=9, decimal_places=2, default=0)

    def __str__(self) -> str:
        return self.name
