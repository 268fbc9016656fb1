"""Plans of the week's film. A plan that was kept is never computed again."""

from django.conf import settings
from django.db import models

from layflat.web.files.models import StoredFile
from layflat.web.work.models import Computation


class Plan(models.Model):
    """Which piece of several jobs comes from which roll or offcut.

    Attributes:
        number: the shop's own, from 1.
        asked: what was asked as JSON, see `layflat.web.week.asking`.
        computation: the search.
        shapes: JSON of the pieces as they are drawn, or None until the search has read them.
        found: the cheapest plan so far as JSON (see `layflat.web.week.told`), or None.
        state: where it stands.
        begun: the layouts that keeping it began, as JSON: `job`, the job's number, `layout`, its
            number, `roll`, the roll's name, `as_planned`, whether it is the plan's own, and `with`,
            the numbers of other jobs that share it.
        version: counts every change of its state.
    """

    class State(models.TextChoices):
        """Where a plan stands."""

        OPEN = "open", "not kept"
        KEPT = "kept", "kept"
        DROPPED = "dropped", "not used"

    number = models.PositiveIntegerField(unique=True)
    asked = models.JSONField()
    computation = models.ForeignKey(
        Computation, null=True, on_delete=models.PROTECT, related_name="+"
    )
    shapes = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    found = models.JSONField(null=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    begun = models.JSONField(default=list)
    version = models.PositiveIntegerField(default=1)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    settled_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    settled_at = models.DateTimeField(null=True)

    class Meta:
        """The newest first."""

        ordering = ("-number",)

    def __str__(self) -> str:
        return f"Plan {self.number}"
