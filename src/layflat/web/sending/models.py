"""Machines, programs as they were made for one, sendings, and what was read off witness marks."""

from django.conf import settings
from django.db import models

from layflat.web.cutting.models import Section
from layflat.web.files.models import StoredFile
from layflat.web.work.models import Computation


class Machine(models.Model):
    """A plotter of the shop.

    Attributes:
        name: what the shop calls it.
        address: where it is, as `layflat.send.read_address` reads it, or "".
        values: the text of its machine file: knife, speeds, calibration.
        is_retired: whether it is no longer used.
        version: counts every change.
    """

    name = models.CharField(max_length=60, unique=True)
    address = models.CharField(max_length=300, blank=True)
    values = models.TextField()
    is_retired = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """By name."""

        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class Prepared(models.Model):
    """What is known of a section's program beside its text.

    Attributes:
        section: whose program it is.
        machine: the machine that it was made for, as a machine file.
        every_mm: after how much feed the head returns to a witness mark; None without marks.
        made: the program's record without its text, see `layflat.web.sending.prepared`.
        straight: the program before it was bent against a drift; None while it never was.
        bent_by: the reading that the program is as it is by, see `Reading.against`; None while it
            is as it was made.
    """

    section = models.OneToOneField(Section, on_delete=models.CASCADE, related_name="prepared")
    machine = models.TextField()
    every_mm = models.FloatField(null=True)
    made = models.JSONField()
    straight = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    bent_by = models.ForeignKey("Reading", null=True, on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"{self.section}, prepared"


class Sending(models.Model):
    """One sending of a section's program, or of what is left of it.

    Attributes:
        section, number: the first of a section is 1.
        machine, address, values: where it goes, as the machine was then.
        program: that is sent.
        goes_on: the sending whose rest it is, or None.
        done: how many cuts were whole on the film, as a person saw before going on; None if nobody
            was asked.
        is_cleared: whether a person said that the machine was cleared and counts from the same
            place.
        record_name: of the record's file; one for a program and all its sendings.
        computation: that sends it.
        state: where it stands.
        wish, wish_number, wished_by: what a person asked of it last, counted, and who.
        says, fraction: how far it is, while it is sent.
        cuts: names of the program's cuts, in order, with the number of their piece or None.
        account: what is cut for certain and what may be, once it has ended (see
            `layflat.web.sending.account`); None before, and where nothing was sent.
        judged: what became of each piece, see `layflat.web.sending.judging`; None where nothing
            was sent.
        sentence: how it ended.
        record: the record's lines, once it has ended.
    """

    class State(models.TextChoices):
        """Where a sending stands."""

        ASKED = "asked", "waits for a free worker"
        SENDING = "sending", "being sent"
        DONE = "done", "sent to the end"
        STOPPED = "stopped", "stopped between two cuts"
        CUT_OFF = "cut off", "broken off at once"
        BROKEN = "broken", "the line was lost"
        CRASHED = "crashed", "broken off with this computer"
        REFUSED = "refused", "nothing was sent"

    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="sendings")
    number = models.PositiveIntegerField()
    machine = models.ForeignKey(Machine, on_delete=models.PROTECT, related_name="sendings")
    address = models.CharField(max_length=300)
    values = models.TextField()
    program = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    goes_on = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="+")
    done = models.PositiveIntegerField(null=True)
    is_cleared = models.BooleanField(default=False)
    record_name = models.CharField(max_length=60)
    computation = models.ForeignKey(
        Computation, null=True, on_delete=models.PROTECT, related_name="+"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.ASKED)
    wish = models.CharField(max_length=8, blank=True)
    wish_number = models.PositiveIntegerField(default=0)
    wished_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    says = models.CharField(max_length=200, blank=True)
    fraction = models.FloatField(default=0.0)
    cuts = models.JSONField(default=list)
    account = models.JSONField(null=True)
    judged = models.JSONField(null=True)
    sentence = models.CharField(max_length=800, blank=True)
    record = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    asked_at = models.DateTimeField(auto_now_add=True)
    began_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)

    class Meta:
        """One at a time to a machine, and of a section."""

        ordering = ("section", "number")
        constraints = (
            models.UniqueConstraint(fields=("section", "number"), name="sending_one_number"),
            models.UniqueConstraint(
                fields=("section",),
                condition=models.Q(state__in=("asked", "sending")),
                name="sending_one_of_a_section",
            ),
            models.UniqueConstraint(
                fields=("machine",),
                condition=models.Q(state__in=("asked", "sending")),
                name="sending_one_to_a_machine",
            ),
        )

    def __str__(self) -> str:
        return f"{self.section}, sending {self.number}"

    @property
    def is_open(self) -> bool:
        """Whether more of it may still be sent."""
        return self.state in OPEN


OPEN = (Sending.State.ASKED, Sending.State.SENDING)
"""The states of a sending that may still send."""
FORCED = (Sending.State.CUT_OFF, Sending.State.BROKEN, Sending.State.CRASHED)
"""The states of one that ended by force, in the middle of whatever was cut."""


class Reading(models.Model):
    """What was read off a section's witness marks.

    Attributes:
        marks: for each mark its name with `dx_mm` and `dy_mm`, as a list.
        is_sure: whether readings that contradict each other were read again.
        verdict: "go on", "correct" or "stop".
        sentence: verdict and reason.
        lost, doubtful: numbers of pieces of this section.
        would_lose: names of pieces still to be cut that would be lost if nothing was done.
        against: the slip that the sections behind are to be bent against, see
            `layflat.web.sending.bending`; None where the marks are those of a program that is no
            longer there, or that was bent when nobody kept against what.
    """

    section = models.ForeignKey(Section, on_delete=models.PROTECT, related_name="readings")
    marks = models.JSONField()
    is_sure = models.BooleanField(default=False)
    verdict = models.CharField(max_length=8)
    sentence = models.TextField()
    lost = models.JSONField(default=list)
    doubtful = models.JSONField(default=list)
    would_lose = models.JSONField(default=list)
    against = models.JSONField(null=True)
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """The newest last."""

        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.section}: {self.verdict}"
