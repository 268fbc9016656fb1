"""The figures of a cover: estimated at once, computed when somebody asks for it."""

from collections.abc import Sequence
from dataclasses import dataclass

from layflat.base import InputError
from layflat.papers import Effort as Asked
from layflat.papers import panel_title
from layflat.pattern import STRAIN_UNKNOWN
from layflat.plan import Price, metres_of
from layflat.web.cover import outcomes
from layflat.web.cover.choices import Choices, from_json
from layflat.web.cover.estimate import estimate
from layflat.web.cover.models import Cover, Outcome
from layflat.web.cover.price import priced
from layflat.web.people.models import Shop
from layflat.web.work.models import Computation, State


@dataclass(frozen=True)
class Effort:
    """What laying one panel asks of the film: `shape` is easy, care or hard."""

    panel: str
    title: str
    shape: str
    sentences: tuple[str, ...]

    @property
    def word(self) -> str:
        """The shape in a word."""
        return Asked(self.shape).word

    @property
    def own_sentences(self) -> tuple[str, ...]:
        """What is said of this panel alone; that a pattern knows no surface is said of all once."""
        return tuple(sentence for sentence in self.sentences if sentence != STRAIN_UNKNOWN)


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What a cover comes to.

    Attributes:
        is_computed: from the real layout; else estimated.
        pieces: how many.
        film_mm, film_least_mm, film_most_mm: of roll; the same where it is computed.
        minutes: of one person, all steps.
        price: with its lines.
        efforts: of panels that need more than an easy hand.
        notes: sentences.
        fault: why there are no figures, or "".
    """

    is_computed: bool = False
    pieces: int = 0
    film_mm: float = 0.0
    film_least_mm: float = 0.0
    film_most_mm: float = 0.0
    minutes: float = 0.0
    price: Price | None = None
    efforts: tuple[Effort, ...] = ()
    notes: tuple[str, ...] = ()
    fault: str = ""

    @property
    def effort_counts(self) -> list[tuple[str, str, int]]:
        """How many panels are hard or need care, as (shape, word, count); the hard ones first."""
        counts = [
            (asked.value, asked.word, sum(effort.shape == asked for effort in self.efforts))
            for asked in reversed(Asked)
        ]
        return [item for item in counts if item[2]]


@dataclass(frozen=True)
class Stand:
    """How far the figures of a cover are.

    Attributes:
        figures: None where nothing is covered.
        outcome: the newest, if there is one.
        is_current: whether that is for the cover as it is now.
        computation: the one that goes on, or that failed or was stopped last; else None.
        is_going_on: whether it does.
    """

    figures: Figures | None
    outcome: Outcome | None
    is_current: bool
    computation: Computation | None

    @property
    def is_going_on(self) -> bool:
        """Whether the real computation goes on."""
        return self.computation is not None and not self.computation.is_over


def stand_of(cover: Cover, choices: Choices, shop: Shop) -> Stand:
    """The figures of a cover, computed where they are computed for it as it is now.

    Args:
        cover: with its body and its computation.
        choices: of it.
        shop: whose rates and roll count.
    """
    return _stand(cover, choices, shop, outcomes.newest(cover))


def stands_of(covers: Sequence[Cover], shop: Shop) -> list[Stand]:
    """The figures of several covers, with as few questions to the database as for one."""
    newest: dict[int, Outcome] = {}
    found = Outcome.objects.filter(cover__in=covers).select_related("computation")
    for outcome in found.prefetch_related("pieces").order_by("number"):
        newest[outcome.cover_id] = outcome
    return [_stand(cover, from_json(cover.choices), shop, newest.get(cover.pk)) for cover in covers]


def _stand(cover: Cover, choices: Choices, shop: Shop, newest: Outcome | None) -> Stand:
    made = cover.computation
    is_done = made is not None and made.state == State.DONE
    if is_done and (newest is None or newest.computation_id != cover.computation_id):
        newest = outcomes.fill(cover) or newest
    is_current = newest is not None and outcomes.is_current(cover, newest, shop=shop)
    computation = None if is_done else made
    if not choices.panels:
        return Stand(None, newest, False, computation)
    if newest is not None and is_current:
        return Stand(_computed(newest, shop), newest, True, None)
    try:
        figures = _estimated(cover, choices, shop)
    except InputError as error:
        figures = Figures(fault=str(error))
    return Stand(figures, newest, False, computation)


def _estimated(cover: Cover, choices: Choices, shop: Shop) -> Figures:
    found = estimate(choices, cover.body, shop)
    return Figures(
        pieces=found.pieces,
        film_mm=found.film_mm,
        film_least_mm=found.film_least_mm,
        film_most_mm=found.film_most_mm,
        minutes=found.minutes.total,
        price=found.price,
        efforts=tuple(
            Effort(warning.panel, panel_title(warning.panel), warning.effort, (warning.sentence,))
            for warning in found.warnings
        ),
        notes=found.notes,
    )


def _computed(outcome: Outcome, shop: Shop) -> Figures:
    pieces = list(outcome.pieces.all())
    # As it is charged, so that an offer says the same length.
    film_mm = float(1000 * metres_of(outcome.film_mm))
    return Figures(
        is_computed=True,
        pieces=len(pieces),
        film_mm=film_mm,
        film_least_mm=film_mm,
        film_most_mm=film_mm,
        minutes=sum(step["minutes"] for step in outcome.minutes.values()),
        price=priced(outcome.film_mm, outcome.minutes, shop),
        efforts=tuple(
            Effort(piece.panel, piece.title, piece.effort, tuple(piece.warnings))
            for piece in pieces
            if piece.effort != Asked.EASY or piece.warnings
        ),
        notes=tuple(outcome.notes),
    )
