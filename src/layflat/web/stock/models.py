"""Rolls, their movements, what is reserved of them, and faults in their film."""

from django.conf import settings
from django.db import models

from layflat.web.folding import FoldedField
from layflat.web.jobs.models import Job


class Roll(models.Model):
    """A roll, or an offcut that is kept.

    Attributes:
        number: the shop's own, from 1, written "R7" (an offcut "R7" just so).
        film: the film's name as the shop writes it.
        lot: the maker's lot number.
        width_mm: whole millimetres.
        left_mm: length left in whole millimetres; always the sum of its movements.
        cost: paid for the whole roll, in the shop's currency, or None; for the owner.
        place: where it lies.
        cut_from: the roll that an offcut was cut from; film, lot and cost come from there.
        kept: how an offcut came to be kept; "" for a roll that was received.
        received_on: the day it came, by the shop's clock.
        is_finished: used up or thrown away, so nothing is left; it is offered no more.
        words_folded: film, lot and place as they are searched.
        lot_bare: the lot as it is compared, without its capitals, spaces, hyphens and dots: one lot
            that two people wrote in two ways is one.
        version: counts every change.
    """

    class Kept(models.TextChoices):
        """How an offcut came to be kept: whether its roll lost its length by that, or before."""

        OFF = "off", "cut off the roll"
        BESIDE = "beside", "beside what was cut"
        UNDONE = "undone", "not kept after all"

    number = models.PositiveIntegerField(unique=True)
    film = models.CharField(max_length=80)
    lot = models.CharField(max_length=60, db_index=True)
    width_mm = models.PositiveIntegerField()
    left_mm = models.PositiveIntegerField(default=0)
    cost = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    place = models.CharField(max_length=80, blank=True)
    cut_from = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="offcuts"
    )
    kept = models.CharField(max_length=6, choices=Kept.choices, blank=True)
    received_on = models.DateField()
    is_finished = models.BooleanField(default=False)
    words_folded = FoldedField("film", "lot", "place")
    lot_bare = FoldedField("lot", is_bare=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """By number; no roll has less than nothing."""

        ordering = ("number",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(left_mm__gte=0), name="stock_roll_left_not_negative"
            ),
        )

    def __str__(self) -> str:
        return f"R{self.number}"


class Movement(models.Model):
    """Film that came to a roll or left it. Rows are added, never changed.

    Attributes:
        delta_mm: whole millimetres; above 0 when film came, 0 when none left the roll: it was put
            elsewhere, a fault was noted, or what was cut before is kept or thrown away.
        kind: why.
        reason: in words; a correction and a write-off need one.
        job: that the film was for, or None.
        source: what booked it, such as "section 12"; the same source books once. "" for what a
            person typed.
        turn: which time its source books: 2 after the first was given back.
        reserved_mm: how much of what it took the job had reserved.
        gives_back: the movement that it undoes, or None.
    """

    class Kind(models.TextChoices):
        """Why film came or left."""

        RECEIVED = "received", "received"
        CUT = "cut", "cut"
        SPOILED = "spoiled", "spoiled"
        OFFCUT = "offcut", "cut off as an offcut"
        CORRECTED = "corrected", "corrected"
        DISCARDED = "discarded", "thrown away"
        MOVED = "moved", "put elsewhere"
        RENAMED = "renamed", "film or lot set right"
        FAULT = "fault", "fault in the film"

    roll = models.ForeignKey(Roll, on_delete=models.PROTECT, related_name="movements")
    delta_mm = models.IntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    reason = models.CharField(max_length=200, blank=True)
    job = models.ForeignKey(Job, null=True, on_delete=models.PROTECT, related_name="movements")
    source = models.CharField(max_length=60, blank=True)
    turn = models.PositiveIntegerField(default=1)
    reserved_mm = models.PositiveIntegerField(default=0)
    gives_back = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="given_back"
    )
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """The newest last; a source books once."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("source", "turn"),
                condition=~models.Q(source=""),
                name="stock_source_books_once_a_turn",
            ),
        )

    def __str__(self) -> str:
        return f"{self.roll}: {self.delta_mm:+d} mm, {self.kind}"


class Reservation(models.Model):
    """Film of a roll that a job will need.

    Attributes:
        length_mm: whole millimetres that the job will still need; what it takes is taken off.
        ended_at: when it was used or given back; None while it stands.
        ended_how: "used" or "given back".
    """

    roll = models.ForeignKey(Roll, on_delete=models.PROTECT, related_name="reservations")
    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="reservations")
    length_mm = models.PositiveIntegerField()
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True)
    ended_how = models.CharField(max_length=12, blank=True)

    class Meta:
        """A job reserves of a roll once at a time."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("roll", "job"),
                condition=models.Q(ended_at__isnull=True),
                name="stock_one_open_reservation",
            ),
        )

    def __str__(self) -> str:
        return f"{self.job}: {self.length_mm} mm of {self.roll}"


class Fault(models.Model):
    """A stretch of a roll that no piece may lie on.

    It is measured from the cut end, which moves as film is cut off, and kept as its distance from
    the core, which does not (see `layflat.web.stock.faults`).

    Attributes:
        kind, words: what it is; "other" needs words.
        near_mm, far_mm: from the core, whole millimetres; its ends when it was measured.
        noted: the movement that says who measured it and when.
        gone: the movement that says that it is not there, or None while it is.
    """

    class Kind(models.TextChoices):
        """What it is."""

        CREASE = "crease", "crease"
        DIRT = "dirt", "dirt"
        SPLICE = "splice", "splice"
        OTHER = "other", "something else"

    roll = models.ForeignKey(Roll, on_delete=models.PROTECT, related_name="faults")
    kind = models.CharField(max_length=8, choices=Kind.choices)
    words = models.CharField(max_length=80, blank=True)
    near_mm = models.PositiveIntegerField()
    far_mm = models.PositiveIntegerField()
    noted = models.ForeignKey(Movement, on_delete=models.PROTECT, related_name="+")
    gone = models.ForeignKey(Movement, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        """From the cut end to the core."""

        ordering = ("-far_mm", "id")
        constraints = (
            models.CheckConstraint(
                condition=models.Q(far_mm__gt=models.F("near_mm")), name="stock_fault_has_length"
            ),
        )

    def __str__(self) -> str:
        name = "" if self.kind == self.Kind.OTHER else Fault.Kind(self.kind).label
        return ": ".join(filter(None, (name, self.words)))
