"""Customers, vehicles and jobs."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Revision
from layflat.web.files.models import StoredFile


class Customer(models.Model):
    """Somebody who asks for film."""

    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    address = models.CharField(max_length=300, blank=True)

    def __str__(self) -> str:
        return self.name


class Vehicle(models.Model):
    """A customer's vehicle.

    Attributes:
        plate: registration, as it is written.
        vin: vehicle identification number, or "".
        body: the revision of the library's body that it is, once known.
        described: in words, for bodies that the library does not have.
        paint: notes on colour, finish, repaint.
    """

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="vehicles")
    plate = models.CharField(max_length=20, blank=True)
    vin = models.CharField(max_length=17, blank=True)
    body = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.PROTECT)
    described = models.CharField(max_length=160, blank=True)
    paint = models.CharField(max_length=400, blank=True)

    def __str__(self) -> str:
        return self.plate or self.described or "vehicle"


class Stage(models.TextChoices):
    """Where a job stands, in order."""

    ENQUIRY = "enquiry", "Enquiry"
    INTAKE = "intake", "Walk-round"
    COVER = "cover", "Cover"
    OFFERED = "offered", "Offered"
    ACCEPTED = "accepted", "Accepted"
    CLOSED = "closed", "Closed"


class Job(models.Model):
    """One job.

    Attributes:
        number: the shop's own, such as "2031-0042".
        vehicle, stage: what and where.
        wishes: in the customer's words.
        assigned: who has it.
        promised: the day it is promised for.
        blocked_by: what it waits for, in words; "" when nothing.
        version: counts every change; an edit of an older version is refused, nothing is lost.
    """

    number = models.CharField(max_length=20, unique=True)
    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="jobs")
    stage = models.CharField(
        max_length=10, choices=Stage.choices, default=Stage.ENQUIRY, db_index=True
    )
    wishes = models.TextField(blank=True, max_length=4000)
    assigned = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="jobs",
    )
    promised = models.DateField(null=True, blank=True)
    blocked_by = models.CharField(max_length=200, blank=True)
    version = models.PositiveIntegerField(default=1)
    opened_at = models.DateTimeField(auto_now_add=True)
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        """The oldest promise first."""

        ordering = ("promised", "id")

    def __str__(self) -> str:
        return self.number


class Fault(models.Model):
    """A fault seen on the walk-round, before any work.

    Attributes:
        x_mm, y_mm, z_mm: its place on the body, or None when it was described only.
        panel: the panel that it lies on, or "".
        kind: in a word: chip, scratch, dent, repaint, old film …
        note: more words.
        photo: a picture.
        is_warning: something that the customer must acknowledge, such as repaint or old film.
        acknowledged_at: when the customer did.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="faults")
    number = models.PositiveIntegerField()
    panel = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=40)
    note = models.CharField(max_length=400, blank=True)
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    z_mm = models.FloatField(null=True, blank=True)
    photo = models.ForeignKey(StoredFile, null=True, blank=True, on_delete=models.PROTECT)
    is_warning = models.BooleanField(default=False)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.CharField(max_length=80, blank=True)
    is_withdrawn = models.BooleanField(default=False)

    class Meta:
        """Numbered within a job."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_fault_number_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.number}. {self.kind}"
