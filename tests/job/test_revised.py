"""Pieces of a job are cut by the revisions that fit notes of earlier cars made of them."""

import sys

import pytest

from layflat.base import InputError
from layflat.film import generic_film
from layflat.job import FilmOrder, LayoutOrder, compute
from layflat.nest import Stock
from layflat.pattern import EdgeFinish, Finish, Pattern
from layflat.revise import Revision, revise, same_shape
from layflat.surface import BodyInfo, EdgeKind
from layflat.web.cover.order import usual_machine
from revise.panel import panel, short

BASE = panel("sill")
MADE = revise(BASE, [short(300.0, 0.0, 2.0), short(0.0, 200.0, 1.5)])
ORDER = FilmOrder(
    finger_aversion=1.0,
    finishes={kind: EdgeFinish(Finish.FLUSH) for kind in EdgeKind},
    covers=(),
    layout=LayoutOrder(
        stock=Stock(width_mm=1524.0, edge_margin_mm=20.0),
        lot="",
        gap_mm=4.0,
        max_section_mm=3000.0,
        turns_deg=(0.0,),
        seconds=0.1,
        seed=1,
    ),
)


def computed(*kept: Pattern, revisions: dict[str, Revision]) -> dict[str, Pattern]:
    """What is laid out and cut, by name."""
    found = compute(
        ORDER,
        None,
        BodyInfo(""),
        film=generic_film(),
        machine=usual_machine(roll_width_mm=1524.0),
        kept=kept,
        revisions=revisions,
    )
    assert {one.pattern.name for one in found.layout.placements} == {one.name for one in kept}
    assert set(found.applied) == set(revisions)
    return {one.pattern.name: one.pattern for one in found.layout.placements}


def test_a_revised_piece_is_laid_out_and_cut_as_revised() -> None:
    done = computed(BASE, panel("lip"), revisions={"sill": MADE})
    assert same_shape(done["sill"], MADE.pattern)
    assert same_shape(done["lip"], BASE)


def test_another_piece_of_that_name_stays_as_it_is_and_that_is_known() -> None:
    half = panel("sill", size=0.6)
    found = compute(
        ORDER, None, BodyInfo(""), film=generic_film(),
        machine=usual_machine(roll_width_mm=1524.0), kept=[half], revisions={"sill": MADE},
    )  # fmt: skip
    assert found.applied["sill"].number == 0
    assert same_shape(found.kept[0], half)


def test_a_revision_that_cannot_be_carried_over_is_refused_by_its_name(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def folds(_revision: Revision, _pattern: Pattern) -> None:
        raise InputError("The film would fold there.")

    monkeypatch.setattr(sys.modules["layflat.job.compute"], "apply", folds)
    with pytest.raises(InputError, match=r"Revision 1 of “sill” does not go.*fold there"):
        computed(BASE, revisions={"sill": MADE})
