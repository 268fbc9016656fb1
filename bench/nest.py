"""Layouts against the bare engine in equal time, and sections against a strip cut up.

`python -m bench.nest 60` gives every search 60 s instead of the default; the published best of
each instance stands beside. The peer is the same engine, called without process, check, fallback
or bound, with the same polygons, seed and seconds: what there is to lose is the overhead of our
care, to be more than made good by pushing pieces together. Both searches end by the clock, so
that single ratios carry noise of a few per cent; the mean over all is the figure, and its
standard error stands beside it.
"""

import json
import math
import sys
import time
from pathlib import Path

import numpy as np
import spyrrow
from tests.reference.strip_instances import INSTANCES, Instance, bare_stock

from layflat.base import silent
from layflat.nest import Request, Stock, place
from layflat.nest.engine import Found, Task
from layflat.nest.pack import make_pack, pack_found, sliced
from layflat.nest.parts import Frame, make_frame, make_parts

SECONDS = 5.0
SEEDS = (1, 2, 3)
STRIP_MM = 1000.0
LEAST_MEAN_RATIO = 1.0
_RECORDS = {
    "albano": 9692.056,
    "fu": 30.843,
    "jakobs1": 10.980,
    "shapes0": 57.012,
    "swim": 5541.653,
    "trousers": 235.172,
}
"""Record lengths: arXiv 2509.13329, its data of 2025."""
_DATA = Path(__file__).resolve().parents[2] / "shared" / "data" / "strip-packing"


def instances() -> list[Instance]:
    """The published files if they are at hand, else those that are written down in the tests."""
    if not _DATA.is_dir():
        return list(INSTANCES)
    return [_read(path) for path in sorted(_DATA.glob("*.json"))]


def _read(path: Path) -> Instance:
    data = json.loads(path.read_text(encoding="utf-8"))
    return Instance(
        name=path.stem,
        height=data["strip_height"],
        turns_deg=tuple(data["items"][0]["allowed_orientations"]),
        shapes=tuple(
            (item["demand"], tuple((x, y) for x, y in item["shape"]["data"][:-1]))
            for item in data["items"]
        ),
        record_length=_RECORDS[path.stem],
    )


def bare(
    requests: list[Request], frame: Frame, seconds: float, seed: int
) -> tuple[Found, Task, float]:
    """The bare engine's layout of the same pieces, and the seconds that it took."""
    task = Task(
        parts=make_parts(requests, frame),
        counts=tuple(request.copies for request in requests),
        frame=frame,
        seed=seed,
        exploration_s=0,
        compression_s=0,
    )
    items = [
        spyrrow.Item(str(i), [tuple(p) for p in part.grown.tolist()], count, list(part.turns or ()))
        for i, (part, count) in enumerate(zip(task.parts, task.counts, strict=True))
    ]
    config = spyrrow.StripPackingConfig(total_computation_time=round(seconds), seed=seed)
    instance = spyrrow.StripPackingInstance("", frame.usable_mm + frame.gap_mm, items)
    begin = time.monotonic()
    solution = instance.solve(config)
    spots = tuple((int(p.id), p.rotation, *p.translation) for p in solution.placed_items)
    return Found(solution.width, spots), task, time.monotonic() - begin


def strips(seconds: float) -> None:
    """One strip: yield against the bare engine's."""
    print(f"One strip, {seconds:g} s each, seeds {SEEDS}; mean yields in per cent of the strip")
    print(f"{'instance':10} {'ours':>7} {'engine':>7} {'ratio':>7} {'best known':>11} {'time':>6}")
    gains: list[float] = []
    for instance in instances():
        runs = [_duel(instance, seconds, seed) for seed in SEEDS]
        ours, peer, ours_s, peer_s = np.mean(runs, axis=0)
        gains += [math.log(run[0] / run[1]) for run in runs]
        record = instance.area / (instance.record_length * instance.height)
        print(
            f"{instance.name:10} {ours:7.2%} {peer:7.2%} {ours / peer:7.3f} "
            f"{record:11.2%} {ours_s / peer_s:6.2f}"
        )
    mean, error = math.exp(np.mean(gains)), float(np.std(gains, ddof=1)) / math.sqrt(len(gains))
    verdict = "pass" if mean >= LEAST_MEAN_RATIO else "MISSED"
    print(
        f"mean ratio of yields {mean:.4f} ± {error:.4f} (at least {LEAST_MEAN_RATIO:g}): {verdict}"
    )


def _duel(instance: Instance, seconds: float, seed: int) -> tuple[float, float, float, float]:
    """Our yield, the bare engine's, and the seconds that each took."""
    requests = instance.requests(strip_mm=STRIP_MM)
    stock = bare_stock(STRIP_MM)
    begin = time.monotonic()
    layout = place(requests, stock, gap_mm=0.0, seconds=seconds, seed=seed, progress=silent)
    took = time.monotonic() - begin
    frame = make_frame(stock, gap_mm=0.0, max_section_mm=None)
    found, _, peer_took = bare(requests, frame, seconds, seed)
    return layout.yield_, layout.piece_area_mm2 / (found.length_mm * STRIP_MM), took, peer_took


def sections(seconds: float) -> None:
    """Sections: film against the bare engine's strip, cut between pieces."""
    print(f"Sections of 1.6 strip heights, gap 4 mm, {seconds:g} s each; film in mm")
    print(f"{'instance':10} {'ours':>7} {'cut strip':>10} {'ratio':>7} {'bound':>7}")
    stock = Stock(width_mm=STRIP_MM, edge_margin_mm=20.0, end_margin_mm=5.0)
    limit = 1.6 * STRIP_MM
    for instance in instances()[-3:]:
        requests = instance.requests(strip_mm=STRIP_MM)
        frame = make_frame(stock, gap_mm=4.0, max_section_mm=limit)
        layout = place(
            requests,
            stock,
            gap_mm=4.0,
            seconds=seconds,
            seed=SEEDS[0],
            max_section_mm=limit,
            progress=silent,
        )
        found, task, _ = bare(requests, frame, seconds, SEEDS[0])
        pack = pack_found(found, task)
        packs = sliced(pack or make_pack(()), frame)
        peer = sum(part.length_mm + 2 * stock.end_margin_mm for part in packs)
        print(
            f"{instance.name:10} {layout.length_mm:7.0f} {peer:10.0f} "
            f"{layout.length_mm / peer:7.3f} {layout.lower_bound_mm:7.0f}"
        )


def main(seconds: float = SECONDS) -> None:
    strips(seconds)
    sections(seconds)


if __name__ == "__main__":
    main(*(float(argument) for argument in sys.argv[1:]))
