"""Offers in their versions, and what was accepted."""

from typing import Any, ClassVar, Final, NoReturn

from django.conf import settings
from django.db import models

from layflat.base import CheckError
from layflat.web.cover.models import Outcome
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.links.models import PrivateLink

_NEVER: Final = "What was offered or accepted is never changed; make a new version."


class FrozenRows(models.QuerySet[Any]):
    """Rows that are added and read; the few fields that may change are named by the model."""

    def update(self, **values: Any) -> int:
        """Change fields that may change.

        Raises:
            CheckError: another field is named.
        """
        if not set(values) <= self.model.MAY_CHANGE:
            raise CheckError(_NEVER)
        return super().update(**values)

    def delete(self) -> NoReturn:
        """Refused.

        Raises:
            CheckError: always.
        """
        raise CheckError(_NEVER)


class Frozen(models.Model):
    """A row that is added once; saving it again changes only what `MAY_CHANGE` names."""

    MAY_CHANGE: ClassVar[frozenset[str]] = frozenset()

    objects = FrozenRows.as_manager()

    class Meta:
        """Has no table of its own."""

        abstract = True

    def save(self, *args: Any, **kwargs: Any) -> None:
        """Add the row, or change what may change.

        Raises:
            CheckError: something else would change.
        """
        fields = kwargs.get("update_fields")
        if not self._state.adding and (fields is None or not set(fields) <= self.MAY_CHANGE):
            raise CheckError(_NEVER)
        super().save(*args, **kwargs)

    def delete(self, *_args: Any, **_kwargs: Any) -> NoReturn:
        """Refused.

        Raises:
            CheckError: always.
        """
        raise CheckError(_NEVER)


class Offer(Frozen):
    """One version of a job's offer. Rows are added, never changed but for `withdrawn_at`.

    Attributes:
        job, version: the first is 1; the newest counts.
        content: all that the customer reads, as JSON; see `layflat.web.offer.content`.
        sha256: of the content as canonical JSON, in hexadecimal.
        costs: what it costs the shop, per alternative; for the owner only.
        pdf: the same content on paper.
        outcomes: of its alternatives, so that they are kept.
        valid_until: the last day on which it can be accepted, by the shop's clock.
        withdrawn_at: when the shop took it back.
    """

    MAY_CHANGE: ClassVar = frozenset({"withdrawn_at"})

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="offers")
    version = models.PositiveIntegerField()
    content = models.JSONField()
    sha256 = models.CharField(max_length=64)
    costs = models.JSONField()
    pdf = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    outcomes = models.ManyToManyField(Outcome, related_name="offers")
    valid_until = models.DateField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """In the order of versions."""

        ordering = ("version",)
        constraints = (
            models.UniqueConstraint(fields=("job", "version"), name="one_offer_version_per_job"),
        )

    def __str__(self) -> str:
        return f"{self.job}, offer {self.version}"


class Acceptance(Frozen):
    """A customer's yes to one alternative of one version. Rows are added, never changed.

    Attributes:
        offer: that was accepted.
        alternative: its place in the content, from 1.
        outcome: the computed cover of that alternative; None where the content names none that is
            kept.
        name: as the customer typed it.
        sha256: of the content that the customer saw.
        through: the private link, or None when it was said at the counter.
        heard_by: person of the shop who wrote it down, or None.
    """

    offer = models.OneToOneField(Offer, on_delete=models.PROTECT, related_name="acceptance")
    alternative = models.PositiveIntegerField()
    outcome = models.ForeignKey(
        Outcome, null=True, on_delete=models.PROTECT, related_name="acceptances"
    )
    name = models.CharField(max_length=80)
    sha256 = models.CharField(max_length=64)
    through = models.ForeignKey(PrivateLink, null=True, on_delete=models.PROTECT)
    heard_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.offer}: accepted by {self.name}"
