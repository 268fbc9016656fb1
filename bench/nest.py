"""Layouts against the bare engine in equal time, and sections against a strip cut up.

`python -m bench.nest --seconds 60 --seeds 5` gives every search 60 s and takes the median of five
seeds instead of the defaults; `--only swim,trousers` takes some instances, `--data FOLDER` others
in the form of that collection's JSON. The published best of each instance stands beside, where it
is known here. The peer is the same engine, called without process, check, fallback
or bound, with the same polygons, seed and seconds: what there is to lose is the overhead of our
care, to be more than made good by pushing pieces together. Both searches end by the clock, so
that single ratios carry noise of a few per cent; the mean over all is the figure, and its
standard error stands beside it.
"""

import argparse
import json
import math
import sys
import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import spyrrow
from tests.reference.strip_instances import INSTANCES, Instance, bare_stock

from bench._year_jobs import year
from layflat.base import InputError, silent
from layflat.nest import Layout, Request, Stock, place
from layflat.nest.engine import Found, Task
from layflat.nest.pack import make_pack, pack_found, sliced
from layflat.nest.parts import Frame, make_frame, make_parts
from layflat.pattern import Curve, to_polygon

SECONDS = 5.0
SEEDS = 3
STRIP_MM = 1000.0
FIRST_WITHIN_S = 2.0
POINT_EVERY_MM = 8.0
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


def instances(only: Sequence[str] = (), data: Path = _DATA) -> list[Instance]:
    """The published files if they are at hand, else those that are written down in the tests.

    Raises:
        InputError: another folder was named, and has none, or one that is not compared.
    """
    files = sorted(data.glob("*.json"))
    if not files and data != _DATA:
        raise InputError(f"No instance is in {data}: no file *.json.")
    known = [_read(path) for path in files] if files else list(INSTANCES)
    return [one for one in known if not only or one.name in only]


def _read(path: Path) -> Instance:
    """One file's instance.

    Raises:
        InputError: its pieces may not all be turned alike, or have holes.
    """
    data = json.loads(path.read_text(encoding="utf-8"))
    turns = {tuple(item["allowed_orientations"]) for item in data["items"]}
    if len(turns) > 1 or any(item["shape"]["type"] != "simple_polygon" for item in data["items"]):
        raise InputError(f"{path}: pieces with holes or turns of their own are not compared here.")
    return Instance(
        name=path.stem,
        height=data["strip_height"],
        turns_deg=turns.pop(),
        shapes=tuple((item["demand"], _corners(item["shape"]["data"])) for item in data["items"]),
        record_length=_RECORDS.get(path.stem, math.nan),
    )


def _corners(points: Sequence[Sequence[float]]) -> tuple[tuple[float, float], ...]:
    """A ring's corners, the first not repeated."""
    ring = points[:-1] if points[0] == points[-1] else points
    return tuple((x, y) for x, y in ring)


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


def strips(seconds: float, seeds: int, chosen: Sequence[Instance]) -> None:
    """One strip: yield against the bare engine's."""
    print(
        f"One strip, {seconds:g} s each, medians of {seeds} seeds; yields in per cent of the strip"
    )
    print(f"{'instance':10} {'ours':>7} {'engine':>7} {'ratio':>7} {'best known':>11} {'time':>6}")
    gains: list[float] = []
    for instance in chosen:
        runs = [_duel(instance, seconds, seed) for seed in range(1, seeds + 1)]
        ours, peer, ours_s, peer_s = np.median(runs, axis=0)
        gains += [math.log(run[0] / run[1]) for run in runs]
        record = instance.area / (instance.record_length * instance.height)
        best = "not known" if math.isnan(record) else f"{record:.2%}"
        print(
            f"{instance.name:10} {ours:7.2%} {peer:7.2%} {ours / peer:7.3f} "
            f"{best:>11} {ours_s / peer_s:6.2f}",
            flush=True,
        )
    spread = float(np.std(gains, ddof=1)) if len(gains) > 1 else math.nan
    mean, error = math.exp(np.mean(gains)), spread / math.sqrt(len(gains))
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
            seed=1,
            max_section_mm=limit,
            progress=silent,
        )
        found, task, _ = bare(requests, frame, seconds, 1)
        pack = pack_found(found, task)
        packs = sliced(pack or make_pack(()), frame)
        peer = sum(part.length_mm + 2 * stock.end_margin_mm for part in packs)
        print(
            f"{instance.name:10} {layout.length_mm:7.0f} {peer:10.0f} "
            f"{layout.length_mm / peer:7.3f} {layout.lower_bound_mm:7.0f}"
        )


def first_layout() -> None:
    """A full front with outlines as dense as flattened panels have them: when layouts are there."""
    names = ("hood", "fender", "bumper", "mirror", "lamp")
    requests = [
        request
        for job in year(40, seed=1)
        if tuple(dict.fromkeys(one.pattern.name for one in job.requests)) == names
        for request in job.requests
    ][:8]
    dense = [
        replace(request, pattern=replace(request.pattern, outline=_dense(request)))
        for request in requests
    ]
    begin, cpu = time.monotonic(), time.process_time()
    shown: list[tuple[float, float, float]] = []

    def watch(layout: Layout) -> None:
        since = time.monotonic() - begin, time.process_time() - cpu
        shown.append((*since, layout.length_mm))

    place(
        dense,
        Stock(width_mm=1524.0, edge_margin_mm=20.0),
        gap_mm=4.0,
        seconds=FIRST_WITHIN_S,
        seed=1,
        max_section_mm=3000.0,
        watch=watch,
    )
    print("First layouts of a full front: seconds, of them of this process, film")
    for took, own, length in shown:
        print(f"{took:7.2f} {own:7.2f} {length:7.0f}")
    verdict = "pass" if shown[0][0] <= FIRST_WITHIN_S else "MISSED"
    print(f"first whole layout within {FIRST_WITHIN_S:g} s: {verdict}")


def _dense(request: Request) -> Curve:
    points = to_polygon(request.pattern, deviation_mm=0.5).segmentize(POINT_EVERY_MM)
    ring = np.array(points.exterior.coords)[:-1]
    return Curve(points_mm=ring, bulges=np.zeros(len(ring)))


def main(arguments: Sequence[str] = ()) -> None:
    parser = argparse.ArgumentParser(prog="python -m bench.nest")
    parser.add_argument("--seconds", type=float, default=SECONDS)
    parser.add_argument("--seeds", type=int, default=SEEDS)
    parser.add_argument("--only", default="", help="instances, with commas between")
    parser.add_argument("--data", type=Path, default=_DATA, help="a folder of instances")
    options = parser.parse_args(arguments)
    only = tuple(name for name in options.only.split(",") if name)
    strips(options.seconds, options.seeds, instances(only, options.data))
    if not only and options.data == _DATA:
        first_layout()
        sections(options.seconds)


if __name__ == "__main__":
    main(sys.argv[1:])
