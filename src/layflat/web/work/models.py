"""Computations: what is to be computed, how far it is, what came of it."""

from django.conf import settings
from django.db import models


class State(models.TextChoices):
    """How far a computation is."""

    OPEN = "open", "waiting"
    RUNNING = "running", "running"
    DONE = "done", "done"
    FAILED = "failed", "failed"
    STOPPED = "stopped", "stopped"


OVER = (State.DONE, State.FAILED, State.STOPPED)
"""The states of what is over: nothing more will come."""


class Computation(models.Model):
    """One computation. The row is the truth; whoever executes it may die at any time.

    Attributes:
        task: which computation, a name that `layflat.web.work.tasks` knows.
        inputs: its arguments as JSON; contents by their hashes.
        key: SHA-256 over task, inputs and version: equal requests share one row.
        version: of Layflat; another version computes anew.
        state: see `State`.
        progress: from 0 to 1, with `says`, the present step in words.
        result: what came of it, written once.
        error: one sentence, when it failed.
        attempts: how often it was begun; it fails for good after three.
        comes_first: whether somebody stands and waits for it: it is begun before others.
        only_waits: whether it hardly computes but waits for something else, such as a machine: it
            takes no place from those that compute.
        stop_asked: whether a person asked it to end.
        claim: the token of the attempt that runs it; only who knows it may write. "" for none.
        runner: where it runs or ran last, for people.
        process: the worker's process by the name that `processes` gives it, or "".
        asked_by, asked_at, began_at, ended_at, beat_at: by the database server's UTC clock.
    """

    task = models.CharField(max_length=60)
    inputs = models.JSONField()
    key = models.CharField(max_length=64, unique=True)
    version = models.CharField(max_length=40)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN, db_index=True)
    progress = models.FloatField(default=0.0)
    says = models.CharField(max_length=200, blank=True)
    result = models.JSONField(null=True)
    error = models.CharField(max_length=600, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    comes_first = models.BooleanField(default=False)
    only_waits = models.BooleanField(default=False)
    stop_asked = models.BooleanField(default=False)
    claim = models.CharField(max_length=32, blank=True)
    runner = models.CharField(max_length=120, blank=True)
    process = models.CharField(max_length=120, blank=True)
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    asked_at = models.DateTimeField(auto_now_add=True)
    began_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    beat_at = models.DateTimeField(null=True)

    class Meta:
        """What is over has an end, which pages show."""

        constraints = (
            models.CheckConstraint(
                condition=~models.Q(state__in=OVER) | models.Q(ended_at__isnull=False),
                name="work_over_has_an_end",
            ),
        )

    def __str__(self) -> str:
        return f"{self.task} {self.key[:8]}: {self.state}"

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come."""
        return self.state in OVER
