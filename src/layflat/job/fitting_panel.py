"""How film fits one panel, or one part of it beside a seam: its steps, each kept by its key."""

from dataclasses import dataclass, replace
from functools import cached_property

from layflat.base import (
    FloatArray,
    Kept,
    LayflatError,
    MeshError,
    Progress,
    StoppedError,
    digest,
    part_of,
    silent,
)
from layflat.film import Flat, flatten, overlaps
from layflat.fit import (
    BlankOrFitted,
    Fingers,
    Pair,
    PiecePlan,
    Reliefs,
    Seams,
    blank_or_fitted,
    compare_pair,
    cut_relief,
    find_fingers,
    judge,
    nearest_part,
    plan_piece,
    propose_reliefs,
    propose_seams,
    shared_flat,
    shared_region,
    split_regions,
)
from layflat.job.blank import weeding_min
from layflat.job.fitting_records import FittedPanel, Fitting, WorkGiven
from layflat.job.order import Cover
from layflat.job.pieces import (
    Piece,
    finish_piece,
    known_panel,
    part_name,
    require_past_keep_outs,
    whole_region,
)
from layflat.job.sides import Twin, from_twin, in_pair, side_pairs, twin_of
from layflat.plan import Pace
from layflat.surface import Panel, Region


@dataclass(frozen=True, eq=False, kw_only=True)
class _Part:
    """A panel (0), or its part with this number, where its flat shape is made.

    That is on the panel, or on the other side's (see `layflat.job.sides.Twin`).

    Attributes:
        number: of the part.
        region: its surface, without reliefs.
        key: of all that it is of.
        flat_of: of what its flat shape is of; the same for both sides of a pair.
        made: the cover with this part's reliefs, as it is there.
        cover: the same on the panel itself.
    """

    number: int
    region: Region
    key: object
    flat_of: object
    made: Cover
    cover: Cover


class PanelSteps:
    """The steps of one panel, each with the key of all that it depends on."""

    def __init__(self, given: WorkGiven, cover: Cover, panel: Panel, store: Kept) -> None:
        self.given, self.cover, self.panel, self.store = given, cover, panel, store
        info = given.info
        self.seen = (info.up, info.forward)
        self.region_key = (
            given.body.key,
            replace(panel, keep_outs=()),
            cover.line_mm,
            cover.keep_mm,
        )
        self.sides: tuple[PanelSteps, PanelSteps] | None = None
        """The left and the right panel of a pair, this one among them."""

    @property
    def pair_key(self) -> tuple[object, ...]:
        """What the comparison with the other side depends on; empty where there is none."""
        if self.sides is None:
            return ()
        left, right = self.sides
        return (left.region_key, right.region_key, self.given.order.sides_tolerance_mm)

    @cached_property
    def pair(self) -> Pair | None:
        """Both sides compared; None where one is not covered, or cannot be cut out."""
        if self.sides is None:
            return None
        left, right = self.sides
        if self is not left:
            return left.pair
        try:
            return self.store.get("pair", self.pair_key, lambda: _compared(left, right))
        except StoppedError:
            raise
        except LayflatError:
            # Whichever it is says so in its own steps; the other one is made by itself.
            return None

    @cached_property
    def twin(self) -> Twin | None:
        """The cover on the other side's surface, if its piece is made there."""
        pair = self.pair
        if self.sides is None or self is self.sides[0] or pair is None or not pair.shared:
            return None
        return twin_of(
            self.cover,
            self.panel,
            left=self.sides[0].own_region(),
            right=self.own_region(),
            pair=pair,
        )

    def prepare(self, progress: Progress = silent) -> None:
        """See that all is kept that both sides of a pair rest on."""
        progress("comparing left and right", 0.0)
        if self.twin is not None and not self.cover.seams:
            (part,) = self._parts()
            self._whole(part, part_of(progress, start=0.5, end=1.0))

    def fitted(self, progress: Progress = silent) -> tuple[FittedPanel, ...]:
        """All of it: one, or one for each part beside the cover's seams."""
        progress("cutting it out", 0.0)
        parts = self._parts()
        count = len(parts)
        return tuple(
            self._fitted(part, part_of(progress, start=i / count, end=(i + 1) / count))
            for i, part in enumerate(parts)
        )

    def _parts(self) -> tuple[_Part, ...]:
        """The panel, or its parts beside the cover's seams."""
        cover, twin = self.cover, self.twin
        region, made, panel, key, flat_of = (
            (self.own_region(), cover, self.panel, self.region_key, self.region_key)
            if self.sides is None or twin is None
            else (
                twin.region,
                twin.cover,
                twin.panel,
                ("mirrored", self.pair_key),
                self.sides[0].region_key,
            )
        )
        if not cover.seams:
            whole = _Part(number=0, region=region, key=key, flat_of=flat_of, made=made, cover=cover)
            return (whole,)
        parts_key = (key, made.seams)
        regions = self.store.get("parts", parts_key, lambda: split_regions(region, made.seams))
        require_past_keep_outs(made, panel, regions)
        own = [nearest_part(regions, path) for path in made.reliefs]

        def reliefs(whole: Cover, number: int) -> Cover:
            mine = (path for path, at in zip(whole.reliefs, own, strict=True) if at == number)
            return replace(whole, reliefs=tuple(mine))

        return tuple(
            _Part(
                number=i + 1,
                region=part,
                key=(*parts_key, i),
                flat_of=(*parts_key, i),
                made=reliefs(made, i),
                cover=reliefs(cover, i),
            )
            for i, part in enumerate(regions)
        )

    def _whole(self, part: _Part, progress: Progress) -> Flat:
        """The flat shape without reliefs, where it is made."""
        key = self._flat_key(part.flat_of)
        return self.store.get(
            "flat", (key,), lambda: self._flat(part.region, part.made, part.number, progress)
        )

    def _flat_key(self, of: object) -> str:
        return digest(of, self.given.film, self.given.order.finger_aversion)

    def _here(self, flat: Flat) -> Flat:
        """A flat shape as that of the panel itself."""
        return flat if self.twin is None else shared_flat(flat, self.twin.mirroring)

    def _region_here(self, part: _Part) -> Region:
        """The same of the surface, without reliefs."""
        return part.region if self.twin is None else shared_region(part.region, self.twin.mirroring)

    def _fitted(self, part: _Part, progress: Progress) -> FittedPanel:
        """The panel, or its part."""
        given, cover = self.given, part.cover
        whole_key = self._flat_key(part.key)
        told = part_of(progress, start=0.1, end=0.3)
        whole = self._whole(part, told)
        opened, flat, flat_key = part.region, whole, whole_key
        if cover.reliefs:
            flat_key = digest(whole_key, part.made.reliefs)
            opened, flat = self.store.get(
                "opened", (flat_key,), lambda: self._opened(part, progress)
            )
        laid = self._here(flat)
        progress("looking for fingers", 0.3)
        fingers = self.store.get("fingers", (flat_key,), lambda: find_fingers(laid))
        progress("drawing the pattern", 0.4)
        piece_key = (
            flat_key,
            given.order.finishes,
            cover,
            self.panel,
            part.number,
            self.pair_key,
        )
        piece = self.store.get("piece", piece_key, lambda: self._piece(part, opened, flat))
        progress("blank or fitted", 0.5)
        how = given.how
        roll_mm = given.order.layout.stock.width_mm
        blank = self.store.get(
            "blank",
            (piece_key, roll_mm, how.blank_rates, how.pace),
            lambda: _blank(piece, roll_mm, how),
        )
        progress("planning how it is laid", 0.55)
        plan = self.store.get("plan", (piece_key, self.seen), lambda: self._plan(piece, fingers))
        refused = tuple(how.refused_reliefs.get(self.panel.name, ()))
        relief_key = (whole_key, self.seen, how.sight, cover.reliefs, refused, how.most_reliefs)
        told = part_of(progress, start=0.6, end=0.8)
        reliefs = self.store.get(
            "reliefs", relief_key, lambda: self._reliefs(part, whole, refused, told)
        )
        return FittedPanel(
            piece=piece,
            fingers=fingers,
            judged=judge(laid, fingers=(fingers,)),
            reliefs=reliefs,
            seams=None if part.number else self._seams(part, whole, whole_key, progress),
            blank=blank,
            plan=plan,
        )

    def own_region(self) -> Region:
        """The surface of the panel that is covered, as scanned, without seams and reliefs."""
        return self.store.get(
            "region",
            self.region_key,
            lambda: whole_region(self.cover, self.panel, self.given.body.prepared),
        )

    def _piece(self, part: _Part, opened: Region, flat: Flat) -> Piece:
        given, twin = self.given, self.twin
        made = finish_piece(
            given.order,
            part.made,
            self.panel if twin is None else twin.panel,
            opened,
            flat,
            given.body.prepared,
            part=part.number,
            off_mm=0.0 if twin is None else twin.pair.tolerance_mm,
        )
        if twin is None:
            return in_pair(made, self.pair)
        return from_twin(made, twin, cover=part.cover, panel=self.panel)

    def _flat(self, region: Region, cover: Cover, part: int, progress: Progress) -> Flat:
        given = self.given
        flat = flatten(
            region.mesh,
            given.film,
            finger_aversion=given.order.finger_aversion,
            progress=progress,
        )
        if overlaps(flat) and not cover.reliefs:
            raise MeshError(
                f"The panel “{part_name(self.panel.name, part)}” cannot be one piece: its flat "
                "shape overlaps itself. Cover it with two."
            )
        return flat

    def _opened(self, part: _Part, progress: Progress) -> tuple[Region, Flat]:
        region = part.region
        for path in part.made.reliefs:
            region = cut_relief(region, path)
        return region, self._flat(region, part.made, part.number, progress)

    def _seams(self, part: _Part, flat: Flat, whole_key: str, progress: Progress) -> Seams:
        """One piece against two."""
        how, info = self.given.how, self.given.info
        refused = tuple(how.refused_seams.get(self.panel.name, ()))
        roll_mm = self.given.order.layout.stock.width_mm
        return self.store.get(
            "seams",
            (whole_key, self.seen, how.sight, how.seam_rates, roll_mm, refused),
            lambda: propose_seams(
                self._region_here(part),
                self._here(flat),
                sight=how.sight,
                rates=how.seam_rates,
                roll_mm=roll_mm,
                refused=refused,
                up=info.up,
                forward=info.forward,
                body=self.given.body.mesh,
                progress=part_of(progress, start=0.8, end=1.0),
            ),
        )

    def _plan(self, piece: Piece, fingers: Fingers) -> PiecePlan:
        return plan_piece(
            piece.flat,
            piece.region,
            wraps=piece.wraps,
            fingers=fingers,
            up=self.given.info.up,
            forward=self.given.info.forward,
        )

    def _reliefs(
        self,
        part: _Part,
        flat: Flat,
        refused: tuple[FloatArray, ...],
        progress: Progress,
    ) -> Reliefs:
        how, info = self.given.how, self.given.info
        kept = part.cover.reliefs
        return propose_reliefs(
            self._region_here(part),
            self._here(flat),
            sight=how.sight,
            kept=kept,
            refused=refused,
            most=max(how.most_reliefs, len(kept)),
            up=info.up,
            forward=info.forward,
            body=self.given.body.mesh,
            progress=progress,
        )


def steps_of(given: WorkGiven, store: Kept) -> list[PanelSteps]:
    """The steps of every cover of the order, both sides of a pair knowing each other."""
    steps = [
        PanelSteps(given, cover, known_panel(given.info, cover), store)
        for cover in given.order.covers
    ]
    if given.order.share_sides:
        for left, right in side_pairs([each.panel.name for each in steps]):
            steps[left].sides = steps[right].sides = (steps[left], steps[right])
    return steps


def _compared(left: PanelSteps, right: PanelSteps) -> Pair:
    return compare_pair(
        left.own_region(),
        right.own_region(),
        names=(left.panel.name, right.panel.name),
        tolerance_mm=left.given.order.sides_tolerance_mm,
    )


def _blank(piece: Piece, roll_mm: float, how: Fitting) -> BlankOrFitted:
    """A bulk rectangle beside the piece; cutting is counted by weeding alone."""
    return blank_or_fitted(
        piece.flat,
        piece.region,
        piece.pattern,
        roll_mm=roll_mm,
        fitted_min=weeding_min(piece.pattern, how.pace or Pace()),
        keep_outs=piece.keep_outs,
        rates=how.blank_rates,
    )
