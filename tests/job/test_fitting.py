"""How a front fits: the same alone or in several processes, anew or from what was kept."""

import multiprocessing
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from job_workshop import raised, write_workshop
from layflat.base import SettingError, StoppedError, digest
from layflat.film import generic_film
from layflat.job import Cover, Fitting, Front, Order, fit_front, read_order
from layflat.pattern import EdgeFinish, Finish
from layflat.surface import BodyInfo, Mesh, mend, read_mesh, read_panels

STEPS = {"region", "flat", "fingers", "piece", "blank", "plan", "reliefs", "seams"}


class Shop:
    def __init__(self, folder: Path) -> None:
        self.order: Order = read_order(write_workshop(folder))
        self.mesh: Mesh = mend(read_mesh(folder / "body.ply", unit="m").mesh).mesh
        self.info: BodyInfo = read_panels(folder / "panels.json")

    def fit(self, kept: Path | None = None, *, covers: Any = None, **more: Any) -> Front:
        order = self.order if covers is None else replace(self.order, covers=tuple(covers))
        film = more.pop("film", generic_film())
        return fit_front(
            order, self.mesh, self.info, film=film, kept=kept, **{"workers": 1, **more}
        )


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return Shop(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(scope="module")
def front(shop: Shop, kept: Path) -> Front:
    return shop.fit(kept)


def of(front: Front) -> str:
    """All that a front says, apart from which steps were made for it."""
    return digest([_plain(panel) for panel in front.panels], front.failed)


def _plain(value: Any) -> Any:
    """A value without what records keep beside their fields."""
    if hasattr(value, "__dataclass_fields__"):
        return [(name, _plain(getattr(value, name))) for name in value.__dataclass_fields__]
    if isinstance(value, np.ndarray):
        return (value.shape, value.dtype.str, value.tobytes())
    if isinstance(value, Mapping):
        return [(key, _plain(each)) for key, each in sorted(value.items())]
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return repr(value)


def test_every_step_of_every_panel_is_made_once(front: Front) -> None:
    assert [panel.name for panel in front.panels] == ["left", "right"]
    assert front.made == dict.fromkeys(STEPS, 2) | {"pair": 1}
    assert (front.failed, front.notes) == ((), ())
    assert [pair.names for pair in front.pairs] == [("left", "right")]
    # A shallow dome within the film's limits: nothing is to be done.
    assert all(panel.judged.within_limits for panel in front.panels)
    assert all(panel.reliefs.proposals == () for panel in front.panels)
    assert all(panel.piece.pattern.name == panel.name for panel in front.panels)


def test_two_processes_find_what_one_finds(shop: Shop, front: Front) -> None:
    assert of(shop.fit(workers=2)) == of(front)


def test_what_is_kept_is_not_made_again(shop: Shop, kept: Path, front: Front) -> None:
    again = shop.fit(kept)
    assert again.made == {}
    assert of(again) == of(front)


def deeper(cover: Cover) -> Cover:
    return replace(cover, finishes={"rear": EdgeFinish(Finish.SHORT, 5.0)})


def test_a_small_change_makes_what_depends_on_it_and_comes_to_the_same(
    shop: Shop, kept: Path, front: Front
) -> None:
    covers = [deeper(shop.order.covers[0]), shop.order.covers[1]]
    changed = shop.fit(kept, covers=covers)
    assert changed.made == {"piece": 1, "blank": 1, "plan": 1}
    assert of(changed) == of(shop.fit(covers=covers)) != of(front)


def test_another_film_makes_all_but_the_cutting_out(shop: Shop, kept: Path, front: Front) -> None:
    film = replace(generic_film(), poisson_ratio=0.3)
    assert shop.fit(kept, film=film).made == dict.fromkeys(STEPS - {"region"}, 2)


def test_a_relief_is_cut_and_only_what_it_opens_is_made(
    shop: Shop, kept: Path, front: Front
) -> None:
    path = raised([(-130.0, -140.0), (-130.0, -100.0)])
    covers = [replace(shop.order.covers[0], reliefs=(path,)), shop.order.covers[1]]
    cut = shop.fit(kept, covers=covers)
    assert cut.made == dict.fromkeys(("opened", "fingers", "piece", "blank", "plan", "reliefs"), 1)
    assert cut.panels[0].judged.energy_mj < front.panels[0].judged.energy_mj
    assert cut.panels[0].reliefs.kept == 1
    assert any(note.startswith("Relief 1") for note in cut.panels[0].piece.notes)


def test_one_panel_that_fails_costs_no_other(shop: Shop, kept: Path, front: Front) -> None:
    inside = raised([(-130.0, 0.0), (-100.0, 0.0)])
    covers = [replace(shop.order.covers[0], reliefs=(inside,)), shop.order.covers[1]]
    found = shop.fit(kept, covers=covers)
    ((name, why),) = found.failed
    assert name == "left"
    assert "must start on an edge" in why
    assert [panel.name for panel in found.panels] == ["right"]
    assert of(replace(front, panels=front.panels[1:])) == of(replace(found, failed=()))


def test_a_seam_gives_two_pieces_each_with_all_steps(shop: Shop, kept: Path, front: Front) -> None:
    path = raised([(-160.0, -140.0), (-160.0, 140.0)])
    relief = raised([(-240.0, 10.0), (-190.0, 15.0)])
    covers = [
        replace(shop.order.covers[0], seams=(path,), reliefs=(relief,)),
        shop.order.covers[1],
    ]
    parted = shop.fit(kept, covers=covers)
    assert [panel.name for panel in parted.panels] == ["left 1", "left 2", "right"]
    steps = STEPS - {"region", "seams"}
    assert parted.made == dict.fromkeys(steps, 2) | {"parts": 1, "opened": 1}
    assert [panel.reliefs.kept for panel in parted.panels] == [1, 0, 0]
    assert [panel.seams is None for panel in parted.panels] == [True, True, False]
    assert shop.fit(kept, covers=covers).made == {}
    whole = front.panels[0].seams
    assert whole is not None
    assert not whole.needed
    assert whole.sentences[0].startswith("One piece will do")


def test_a_seam_through_a_keep_out_fails_its_panel_alone(
    shop: Shop, kept: Path, front: Front
) -> None:
    path = raised([(-120.0, -140.0), (-120.0, 140.0)])
    covers = [replace(shop.order.covers[0], seams=(path,)), shop.order.covers[1]]
    found = shop.fit(kept, covers=covers)
    ((name, why),) = found.failed
    assert name == "left"
    assert "through the keep-out “emblem”" in why
    assert of(replace(front, panels=front.panels[1:])) == of(replace(found, failed=()))


@pytest.mark.parametrize("workers", [1, 2])
def test_it_stops_when_told_and_keeps_what_was_made(
    shop: Shop, tmp_path: Path, workers: int
) -> None:
    def stops(step: str, _fraction: float) -> None:
        if "fingers" in step:
            raise StoppedError("Stopped.")

    with pytest.raises(StoppedError):
        shop.fit(tmp_path, progress=stops, workers=workers)
    assert multiprocessing.active_children() == []
    assert not list(tmp_path.glob("*.part"))
    if workers == 1:
        assert shop.fit(tmp_path).made["flat"] == 1


def test_what_is_not_there_is_said_at_once(shop: Shop) -> None:
    with pytest.raises(SettingError, match="no panel “roof”"):
        shop.fit(covers=[Cover(panel="roof")])


def test_refused_places_are_part_of_what_reliefs_rest_on(
    shop: Shop, kept: Path, front: Front
) -> None:
    refused = Fitting(refused_reliefs={"left": (raised([(-130.0, -140.0), (-130.0, -100.0)]),)})
    assert shop.fit(kept, how=refused).made == {"reliefs": 1}
