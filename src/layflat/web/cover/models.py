"""Covers, what computing them found, and their pieces."""

from django.conf import settings
from django.db import models

from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.jobs.models import Job
from layflat.web.work.models import Computation


class Cover(models.Model):
    """One way to cover a job's vehicle; a job has some to choose from.

    Attributes:
        job, number: the first is 1.
        title: as the customer reads it, such as "Nose only".
        body: the revision that the choices were made on.
        choices: see `layflat.web.cover.choices`.
        version: counts every change of the choices and of the title.
        is_dropped: no longer offered; it keeps its number.
        computation: the real computation that was asked for last, perhaps for earlier choices.
    """

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="covers")
    number = models.PositiveIntegerField()
    title = models.CharField(max_length=80)
    body = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    choices = models.JSONField()
    version = models.PositiveIntegerField(default=1)
    is_dropped = models.BooleanField(default=False)
    computation = models.ForeignKey(
        Computation, null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    changed_at = models.DateTimeField(auto_now=True)

    class Meta:
        """Numbered within a job."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("job", "number"), name="one_cover_number_per_job"),
        )

    def __str__(self) -> str:
        return self.title


class SavedCover(models.Model):
    """Choices that the shop begins from again.

    Attributes:
        body: the body whose panels they name.
        title: in the shop's own words, one of a kind for a body.
        choices: as a cover's.
        revision: the revision that lines were drawn on; on others lines may lie elsewhere.
        is_retired: no longer shown.
    """

    body = models.ForeignKey(Body, on_delete=models.PROTECT, related_name="saved_covers")
    title = models.CharField(max_length=80)
    choices = models.JSONField()
    revision = models.ForeignKey(Revision, on_delete=models.PROTECT, related_name="+")
    is_retired = models.BooleanField(default=False)
    saved_by = models.ForeignKey(settings.AUTH_USER_MODEL, null=True, on_delete=models.PROTECT)
    saved_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """By title within a body."""

        ordering = ("title", "id")
        constraints = (
            models.UniqueConstraint(fields=("body", "title"), name="one_saved_title_per_body"),
        )

    def __str__(self) -> str:
        return self.title


class Outcome(models.Model):
    """What the real computation of a cover found. Rows are added, never changed.

    Attributes:
        cover, number: the first is 1; the newest counts.
        choices: that it was computed for.
        computation: that found it; its result is described in `layflat.web.cover.tasks`.
        roll_width_mm, film_mm, bound_mm: the roll, what the layout uses of it (whole sections),
            and what no layout can do without.
        minutes: {step: {"minutes": float, "source": str}} by `layflat.plan.Step`, in order.
        notes: sentences that go for all pieces.
        shown: GLB of the vehicle with its film: surfaces "body", and "piece-<number>" each; None
            where every piece comes from a kept pattern.
        lines: JSON as a revision's, for `shown`, or None.
        picture: PNG of the same, or None.
        layout: SVG of the pieces on the roll, or None.
        report: JSON report of the computation.
    """

    cover = models.ForeignKey(Cover, on_delete=models.PROTECT, related_name="outcomes")
    number = models.PositiveIntegerField()
    choices = models.JSONField()
    computation = models.ForeignKey(Computation, on_delete=models.PROTECT, related_name="+")
    roll_width_mm = models.FloatField()
    film_mm = models.FloatField()
    bound_mm = models.FloatField()
    minutes = models.JSONField()
    notes = models.JSONField()
    shown = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    lines = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    picture = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    layout = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    report = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    found_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        """Numbered within a cover."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(
                fields=("cover", "number"), name="one_outcome_number_per_cover"
            ),
        )

    def __str__(self) -> str:
        return f"{self.cover}, computed {self.number}"


class Piece(models.Model):
    """One piece of film of an outcome.

    Attributes:
        outcome, number: its number on the layout, in the order of cutting.
        panel, title: the piece's name, which is its panel's unless several cover that one, and as
            people write it.
        is_part: whether it ends at a drawn line.
        area_mm2: of film.
        covered: in the customer's words, such as "the whole panel, wrapped round: front".
        effort: "easy", "care" or "hard"; "flat" where stretch is unknown (see
            `layflat.papers.Effort`).
        stretch, compression: the greatest, as fractions; `_99` what 99 % of the surface stays
            below. These and the next are None for a piece from a kept pattern.
        over_stretch, over_finger: shares of the surface beyond the film's limits.
        details: {"edges": [{"name", "kind", "finish", "distance_mm", "length_mm"}],
            "free": [{"name", "word"}], "film_over": [{"name", "reason"}],
            "stretch_limit": float, "finger_limit": float, "lay": its place in the order of laying,
            from 1, "plan": see `layflat.web.cover.planned`, "reliefs": see
            `layflat.web.cover.relieved`, "panel": its panel's name, "wraps", "blank" and "pair":
            see `layflat.web.cover.fit_details`, "kept": see `layflat.web.cover.kept_pieces`, of a
            piece from a kept pattern only, "correction": {"number", "apart_mm", "said"}, of one
            that has a revision by fit notes, whose number is 0 where it could not be applied};
            from "lay" on they are missing for what was
            computed before they were kept.
        warnings: sentences in plain words on what laying asks for.
        surface: GLB with the surface "piece", vertices coloured by strain, in body millimetres;
            None for a piece from a kept pattern.
        flat: JSON for the same triangles in the flat: see `layflat.web.cover.tasks`.
        map: SVG of the flat pattern with its strain, as on the fit report; of a kept pattern, the
            pattern alone.
        pattern: JSON of the pattern itself, exact, from which it is cut (see
            `layflat.pattern.pattern_json`); None for what was computed before it was kept.
        plan: SVG of how it is laid; None for what was computed before it was kept.
    """

    outcome = models.ForeignKey(Outcome, on_delete=models.PROTECT, related_name="pieces")
    number = models.PositiveIntegerField()
    panel = models.CharField(max_length=80)
    title = models.CharField(max_length=120)
    is_part = models.BooleanField()
    area_mm2 = models.FloatField()
    covered = models.CharField(max_length=400)
    effort = models.CharField(max_length=4)
    stretch = models.FloatField(null=True)
    compression = models.FloatField(null=True)
    stretch_99 = models.FloatField(null=True)
    compression_99 = models.FloatField(null=True)
    over_stretch = models.FloatField(null=True)
    over_finger = models.FloatField(null=True)
    details = models.JSONField()
    warnings = models.JSONField()
    surface = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    flat = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    map = models.ForeignKey(StoredFile, on_delete=models.PROTECT, related_name="+")
    pattern = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")
    plan = models.ForeignKey(StoredFile, null=True, on_delete=models.PROTECT, related_name="+")

    class Meta:
        """In the order of cutting."""

        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=("outcome", "number"), name="one_piece_number"),
        )

    def __str__(self) -> str:
        return f"{self.number} {self.title}"

    @property
    def panel_name(self) -> str:
        """The panel that it is laid on; rows from before it was kept have one piece for each."""
        name: str = self.details.get("panel", self.panel)
        return name

    @property
    def is_flat(self) -> bool:
        """Whether it comes from a kept pattern: no surface, and nothing known of its stretch."""
        return self.surface_id is None
