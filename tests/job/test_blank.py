"""Blank or fitted for a piece of a job: the job's own layout, pace and rates."""

from dataclasses import replace
from pathlib import Path

import pytest

from job_workshop import write_workshop
from layflat.cut import generic_machine
from layflat.film import generic_film
from layflat.job import Computed, blank_of, compute, read_order
from layflat.pattern import curve_length_mm, pattern_area_mm2
from layflat.plan import Pace, Rates
from layflat.surface import read_mesh, read_panels


@pytest.fixture(scope="module")
def computed(tmp_path_factory: pytest.TempPathFactory) -> Computed:
    folder: Path = tmp_path_factory.mktemp("shop")
    order = read_order(write_workshop(folder))
    mesh = read_mesh(folder / "body.ply", unit="m").mesh
    info = read_panels(folder / "panels.json")
    return compute(order, mesh, info, film=generic_film(), machine=generic_machine())


def test_film_and_minutes_are_the_job_s_own(computed: Computed) -> None:
    piece, layout = computed.pieces[0], computed.layout
    found = blank_of(piece, layout, cutting_s=120.0)
    assert found.fitted_mm2 == pytest.approx(pattern_area_mm2(piece.pattern) / layout.yield_)
    cuts = [
        sum(curve_length_mm(c) for c in (p.pattern.outline, *p.pattern.cut_outs))
        for p in computed.pieces
    ]
    # Weeding: 2 min, half a minute for the emblem's hole, half a minute a metre; cutting shared.
    by_hand = 2.0 + 0.5 + 0.5 * cuts[0] / 1e3 + 2.0 * cuts[0] / sum(cuts)
    assert found.fitted_min == pytest.approx(by_hand, rel=1e-9)
    assert any("minutes of cutting and weeding: assumption" in r for r in found.reasons)
    assert any("leaves emblem free" in r for r in found.reasons)
    assert not found.take_blank


def test_the_shop_s_pace_and_rates_are_taken(computed: Computed) -> None:
    piece = replace(computed.pieces[0], keep_outs=())
    rates = Rates.from_numbers(currency="EUR", film_per_metre=61.0, per_hour=90.0)
    own = Pace(weed_per_piece=100.0)
    found = blank_of(piece, computed.layout, cutting_s=0.0, pace=own, rates=rates)
    width_m = computed.layout.stock.width_mm / 1e3
    film = (found.blank_mm2 - found.fitted_mm2) / 1e6 * 61.0 / width_m
    work = (found.blank_min - found.fitted_min) / 60.0 * 90.0
    assert found.costs == pytest.approx(film + work, rel=1e-9)
    assert not any("cutting and weeding: assumption" in reason for reason in found.reasons)
    (said,) = [reason for reason in found.reasons if reason.startswith("Assumed")]
    assert "film per m²" not in said
