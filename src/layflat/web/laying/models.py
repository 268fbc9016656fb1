"""Who laid which piece of film, how long it took, and what was hard."""

from django.conf import settings
from django.db import models

from layflat.web.cutting.models import Cut
from layflat.web.files.models import StoredFile


class Laying(models.Model):
    """One time that somebody had a piece of film in hand on the car.

    Attributes:
        cut: the piece of film.
        way: laid first, or mended after a flag.
        people: who did it, all of them; none of them may inspect the job.
        began_at, ended_at: as tapped; `ended_at` None while it goes on.
        hard: what was hard, in words, or "".
        photo, thumb: a picture, or None.
    """

    class Way(models.TextChoices):
        """What was done."""

        LAID = "laid", "laid"
        RELAID = "relaid", "laid again"
        PRESSED = "pressed", "pressed down"

    cut = models.ForeignKey(Cut, on_delete=models.PROTECT, related_name="layings")
    way = models.CharField(max_length=8, choices=Way.choices, default=Way.LAID)
    people = models.ManyToManyField(settings.AUTH_USER_MODEL, related_name="layings")
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)
    hard = models.CharField(max_length=300, blank=True)
    photo = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    thumb = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        """In the order of doing; a piece of film is in hand once at a time."""

        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(
                fields=("cut",),
                condition=models.Q(ended_at__isnull=True),
                name="one_open_laying_per_cut",
            ),
        )

    def __str__(self) -> str:
        return f"{self.cut}: {self.way}"
