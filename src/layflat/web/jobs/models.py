"""Customers, vehicles and jobs."""

from django.conf import settings
from django.db import models

from layflat.papers import panel_in_sentence
from layflat.web.bodies.models import Revision
from layflat.web.files.models import StoredFile
from layflat.web.folding import FoldedField


class Customer(models.Model):
    """Somebody who asks for film.

    Attributes:
        name_folded: the name as it is searched.
        version: counts every change, as for a job.
    """

    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=40, blank=True)
    email = models.EmailField(blank=True)
    address = models.CharField(max_length=300, blank=True)
    name_folded = FoldedField("name")
    version = models.PositiveIntegerField(default=1)

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
        marks_folded: plate and VIN as they are searched.
        version: counts every change, as for a job.
    """

    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="vehicles")
    plate = models.CharField(max_length=20, blank=True)
    vin = models.CharField(max_length=17, blank=True)
    body = models.ForeignKey(Revision, null=True, blank=True, on_delete=models.PROTECT)
    described = models.CharField(max_length=160, blank=True)
    paint = models.CharField(max_length=400, blank=True)
    marks_folded = FoldedField("plate", "vin", is_bare=True)
    version = models.PositiveIntegerField(default=1)

    def __str__(self) -> str:
        return self.plate or self.described or "vehicle"


class Stage(models.TextChoices):
    """Where a job stands, in order."""

    ENQUIRY = "enquiry", "Enquiry"
    INTAKE = "intake", "Walk-round"
    COVER = "cover", "Cover"
    OFFERED = "offered", "Offered"
    ACCEPTED = "accepted", "Accepted"
    BAY = "bay", "In the bay"
    CHECKED = "checked", "Checked"
    HANDED = "handed", "Handed back"
    CLOSED = "closed", "Closed"


class Job(models.Model):
    """One job.

    Attributes:
        number: the shop's own, such as "2031-0042".
        vehicle, stage: what and where.
        wishes: in the customer's words.
        assigned: who has it.
        wanted: the day that the customer would like it back.
        promised: the day it is promised for.
        blocked_by: what it waits for, in words; "" when nothing.
        closed_from, closed_because: the stage that a closed job stood at, and why it was closed, in
            words; "" while it is open.
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
    wanted = models.DateField(null=True, blank=True)
    promised = models.DateField(null=True, blank=True)
    blocked_by = models.CharField(max_length=200, blank=True)
    closed_from = models.CharField(max_length=10, choices=Stage.choices, blank=True)
    closed_because = models.CharField(max_length=300, blank=True)
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
        x_mm, y_mm, z_mm: its place on the body, or None when it was not tapped there.
        view, across, along: its place on a drawn view of `outline`: the view's name, and fractions
            of the view's width and height from its top left corner; "" and None elsewhere.
        panel: the panel that it lies on, or "".
        kind: a name of `kinds`: chip, scratch, dent, repaint, old film …
        note: more words.
        photo, thumb: a picture without metadata, and the same small.
        is_warning: something that the customer must acknowledge, such as repaint or old film.
        acknowledged_at, acknowledged_by: when the customer did, and the name as typed.
        is_withdrawn, withdrawn_reason: no fault after all, and why; it keeps its number.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="faults")
    number = models.PositiveIntegerField()
    panel = models.CharField(max_length=80, blank=True)
    kind = models.CharField(max_length=40)
    note = models.CharField(max_length=400, blank=True)
    x_mm = models.FloatField(null=True, blank=True)
    y_mm = models.FloatField(null=True, blank=True)
    z_mm = models.FloatField(null=True, blank=True)
    view = models.CharField(max_length=8, blank=True)
    across = models.FloatField(null=True, blank=True)
    along = models.FloatField(null=True, blank=True)
    photo = models.ForeignKey(StoredFile, null=True, blank=True, on_delete=models.PROTECT)
    thumb = models.ForeignKey(
        StoredFile, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    is_warning = models.BooleanField(default=False)
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.CharField(max_length=80, blank=True)
    is_withdrawn = models.BooleanField(default=False)
    withdrawn_reason = models.CharField(max_length=200, blank=True)

    class Meta:
        """Numbered within a job."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_fault_number_per_job"),
        )

    @property
    def where(self) -> str:
        """Its panel as people write it within a sentence, or ""."""
        return panel_in_sentence(self.panel)

    def __str__(self) -> str:
        return f"{self.number}. {self.kind}"

    @property
    def is_open_warning(self) -> bool:
        """Whether the customer has still to acknowledge it."""
        return self.is_warning and not self.is_withdrawn and self.acknowledged_at is None


class YearCount(models.Model):
    """How many jobs a year has had; the row that gives out job numbers."""

    year = models.PositiveSmallIntegerField(unique=True)
    last = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.year}: {self.last}"


class AnsweredForm(models.Model):
    """A form that was answered once; sending it again does nothing more.

    Attributes:
        token: the form's own, made with the page.
        went_to: the address that the first answer led to.
    """

    token = models.CharField(max_length=32, unique=True)
    went_to = models.CharField(max_length=200)
    who = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    at = models.DateTimeField(auto_now_add=True, db_index=True)

    def __str__(self) -> str:
        return self.token
