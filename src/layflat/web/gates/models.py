"""Steps, their templates, dwell times, tools."""

from django.conf import settings
from django.db import models

from layflat.web.jobs.models import Job


class Kind(models.TextChoices):
    """What a step does; the trade's own order between kinds holds whatever a template says."""

    HAND = "hand", "work by hand"
    COVER_BRAKES = "brakes", "covering the brakes"
    IRON = "iron", "iron removal"
    CUT = "cut", "cutting and weeding"
    LAY = "lay", "laying film"
    REST = "rest", "rest"
    EDGES = "edges", "heating the edges"
    INSPECT = "inspect", "inspection"
    COAT = "coat", "coating over film"
    HAND_BACK = "hand-back", "handing back"


class Zone(models.TextChoices):
    """Which part of the vehicle a tool may touch."""

    PAINT = "paint", "paint"
    WHEELS = "wheels", "wheels and shuts"
    ANY = "any", "any"


class Condition(models.TextChoices):
    """When a template's step belongs to a job."""

    ALWAYS = "always", "always"
    SENSITIVE_BRAKES = "sensitive-brakes", "sensitive brakes"
    COATING = "coating", "coating ordered"
    REPAINT = "repaint", "repaint"
    OLD_FILM = "old-film", "old film"


class StepTemplate(models.Model):
    """A step as the shop usually does it; the owner edits these.

    Attributes:
        key: a short name without blanks, one of a kind.
        title, words: what people read; `words` says how.
        caution: what can hurt, or "".
        position: its place in the usual order.
        kind, zone, condition: see there.
        needs: keys of steps that must be done before, as a list; those that a job leaves out do
            not count.
        rest_s: seconds that must have passed since the last of `needs` was done.
        dwell_least_s, dwell_most_s: a dwell time that the step begins: not rinsed before the first,
            and never left to dry beyond the second; None for none.
        version: counts every change.
    """

    key = models.SlugField(max_length=40, unique=True)
    title = models.CharField(max_length=80)
    words = models.CharField(max_length=400, blank=True)
    caution = models.CharField(max_length=400, blank=True)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices, default=Kind.HAND)
    zone = models.CharField(max_length=8, choices=Zone.choices, default=Zone.ANY)
    condition = models.CharField(max_length=20, choices=Condition.choices, default=Condition.ALWAYS)
    needs = models.JSONField(default=list)
    rest_s = models.PositiveIntegerField(default=0)
    dwell_least_s = models.PositiveIntegerField(null=True, blank=True)
    dwell_most_s = models.PositiveIntegerField(null=True, blank=True)
    is_retired = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """In the usual order."""

        ordering = ("position", "id")

    def __str__(self) -> str:
        return self.title


class BayPlan(models.Model):
    """What is known of a job when the bay is planned.

    Attributes:
        conditions: values of `Condition` that hold for this car, as a list.
    """

    job = models.OneToOneField(Job, on_delete=models.PROTECT, related_name="bay_plan")
    conditions = models.JSONField(default=list)
    planned_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    planned_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"{self.job}: bay"


class Step(models.Model):
    """A step of one car, as it was planned; what its template says later does not change it.

    Attributes:
        key … dwell_most_s: as in `StepTemplate`; `condition` is why it belongs to this car.
        state: "open" until it is begun; whether an open one may be begun follows from `needs`.
        began_at, began_by, ended_at, ended_by: when and who; `ended_at` also of one left out.
        left_out_because: why it was left out, in words.
    """

    class State(models.TextChoices):
        """How far a step is."""

        OPEN = "open", "to do"
        BEGUN = "begun", "under way"
        DONE = "done", "done"
        LEFT_OUT = "left-out", "left out"

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="steps")
    key = models.SlugField(max_length=40)
    title = models.CharField(max_length=80)
    words = models.CharField(max_length=400, blank=True)
    caution = models.CharField(max_length=400, blank=True)
    position = models.PositiveIntegerField()
    kind = models.CharField(max_length=10, choices=Kind.choices)
    zone = models.CharField(max_length=8, choices=Zone.choices)
    condition = models.CharField(max_length=20, choices=Condition.choices, default=Condition.ALWAYS)
    needs = models.JSONField(default=list)
    rest_s = models.PositiveIntegerField(default=0)
    dwell_least_s = models.PositiveIntegerField(null=True)
    dwell_most_s = models.PositiveIntegerField(null=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    began_at = models.DateTimeField(null=True)
    began_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    left_out_because = models.CharField(max_length=200, blank=True)

    class Meta:
        """In the planned order."""

        ordering = ("position", "id")
        constraints = (models.UniqueConstraint(fields=("job", "key"), name="one_step_key_per_job"),)

    def __str__(self) -> str:
        return self.title


class Dwell(models.Model):
    """A time that something works on the paint, or film rests.

    Attributes:
        step: that began it.
        where: which part of the car, in words.
        began_at, least_s, most_s: from when, and between which times it must end; None for no
            bound.
        ended_at, ended_by: when it was rinsed.
        was_late: whether it had dried by then.
        was_short: whether it was rinsed before it had worked; neither counts, it is done again.
    """

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="dwells")
    where = models.CharField(max_length=80, blank=True)
    began_at = models.DateTimeField()
    least_s = models.PositiveIntegerField(null=True)
    most_s = models.PositiveIntegerField(null=True)
    began_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    ended_at = models.DateTimeField(null=True)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )
    was_late = models.BooleanField(default=False)
    was_short = models.BooleanField(default=False)

    class Meta:
        """The newest last."""

        ordering = ("id",)

    def __str__(self) -> str:
        return f"{self.step}: {self.where}"


class Tool(models.Model):
    """A tool, cloth or mitt.

    Attributes:
        name: the shop's own, one of a kind, such as "blue mitt 2".
        zone: that it belongs to; it touches nothing else.
        out_because: why it is out of use ("fell on the floor"), or "".
        out_at: since when.
        version: counts every change.
    """

    name = models.CharField(max_length=60, unique=True)
    zone = models.CharField(max_length=8, choices=Zone.choices)
    out_because = models.CharField(max_length=120, blank=True)
    out_at = models.DateTimeField(null=True, blank=True)
    is_retired = models.BooleanField(default=False)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        """By name."""

        ordering = ("name",)

    def __str__(self) -> str:
        return self.name


class ToolUse(models.Model):
    """A tool that was taken for a step."""

    step = models.ForeignKey(Step, on_delete=models.PROTECT, related_name="tools")
    tool = models.ForeignKey(Tool, on_delete=models.PROTECT, related_name="uses")
    at = models.DateTimeField()
    who = models.ForeignKey(
        settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT, related_name="+"
    )

    class Meta:
        """A tool is taken for a step once."""

        constraints = (
            models.UniqueConstraint(fields=("step", "tool"), name="one_use_per_step_and_tool"),
        )

    def __str__(self) -> str:
        return f"{self.tool} for {self.step}"
