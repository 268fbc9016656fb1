"""Damaged drawings: 200 files by seed, each right, asked or refused; and large ones.

The time is against ezdxf's, which opens the same DXF files, audits them and flattens what draws
lines, and no more: it joins nothing and judges nothing; of SVG, against svgelements', likewise.
"""

import importlib
import logging
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import ezdxf
import numpy as np
import svgelements
from ezdxf import path as ezdxf_path
from ezdxf.disassemble import recursive_decompose

from layflat.pattern import inspect_drawing, pattern_area_mm2

DXF, SVG = 120, 80
MOST_SECONDS = 5.0
LINES, POINTS = 50_000, 20_000


def main() -> None:
    sys.path.insert(0, str(Path(__file__).parent.parent / "tests"))
    truth = importlib.import_module("pattern.truth")
    logging.getLogger("ezdxf").disabled = True
    by_sin: dict[str, Counter[str]] = {}
    total: Counter[str] = Counter()
    ours = peer = slowest = 0.0
    wrong = []
    with tempfile.TemporaryDirectory() as folder:
        for kind, count in (("dxf", DXF), ("svg", SVG)):
            damager = getattr(importlib.import_module(f"pattern.damaged_{kind}"), f"damaged_{kind}")
            for seed in range(count):
                case = damager(seed, Path(folder))
                begin = time.process_time()
                found, why = truth.outcome(case)
                took = time.process_time() - begin
                slowest = max(slowest, took)
                total[found] += 1
                for sin in case.sins or {"none": ""}:
                    by_sin.setdefault(f"{kind}: {sin}", Counter())[found] += 1
                if found == "WRONG" or not case.fits(found):
                    wrong.append(f"{case.path.name} {case.sins} {found}: {why}")
                if kind == "dxf" and found in ("right", "asked"):
                    ours += took
                    peer += ezdxf_seconds(case.path)
    for sin, counts in sorted(by_sin.items()):
        print(f"  {sin:28} " + ", ".join(f"{n} {word}" for word, n in sorted(counts.items())))
    print(f"{DXF + SVG} files: " + ", ".join(f"{n} {word}" for word, n in sorted(total.items())))
    print(f"against what was expected: {len(wrong)}", *wrong, sep="\n  ")
    print(
        f"slowest {slowest:.2f} s; reading and judging take {ours / peer:.1f} times as long as the"
    )
    print("peer takes to open and flatten the same DXF files")
    assert not wrong
    assert slowest < MOST_SECONDS
    large()


def large() -> None:
    """One outline of very many lines, out of order, and one path of very many points."""
    with tempfile.TemporaryDirectory() as folder:
        lines, path = Path(folder, "lines.dxf"), Path(folder, "path.svg")
        document = ezdxf.new("R2010", units=4)
        rim = waves(LINES)
        for i in np.random.default_rng(7).permutation(LINES):
            ends = rim[i], rim[(i + 1) % LINES]
            document.modelspace().add_line(*ends, dxfattribs={"layer": "OUTLINE"})
        document.saveas(lines)
        points = " ".join(f"{x:.4f},{y:.4f}" for x, y in waves(POINTS))
        path.write_text(
            '<svg xmlns="http://www.w3.org/2000/svg" width="10000mm" height="10000mm" '
            f'viewBox="0 0 10000 10000"><g id="OUTLINE"><path d="M{points}Z"/></g></svg>'
        )
        for file, count, peer in (
            (lines, f"{LINES:,} lines", ezdxf_seconds),
            (path, f"a path of {POINTS:,} points", svgelements_seconds),
        ):
            begin = time.process_time()
            found = inspect_drawing(file, answers={"all": "default"})
            took = time.process_time() - begin
            assert found.drawing is not None, found.refusal
            (piece,) = found.drawing.patterns
            # A wavy circle of radius 3 m: by hand pi r² (1 + (0.1² + 0.02²) / 2).
            assert abs(pattern_area_mm2(piece) / (np.pi * 3e3**2 * 1.0052) - 1) < 1e-3
            print(
                f"{file.suffix} of {count}: {took:.1f} s, {took / peer(file):.1f} times the peer's"
            )


def waves(count: int) -> np.ndarray:
    """(count, 2) float64 mm along a wavy circle of radius 3 m."""
    turn = np.linspace(0.0, 2.0 * np.pi, count, endpoint=False)
    reach = 3000.0 * (1.0 + 0.1 * np.sin(7 * turn) + 0.02 * np.sin(41 * turn))
    return 5000.0 + reach[:, None] * np.column_stack((np.cos(turn), np.sin(turn)))


def svgelements_seconds(path: Path) -> float:
    begin = time.process_time()
    for element in svgelements.SVG.parse(str(path)).elements():
        if isinstance(element, svgelements.Path):
            list(element.as_points())
    return time.process_time() - begin


def ezdxf_seconds(path: Path) -> float:
    begin = time.process_time()
    document = ezdxf.readfile(path)
    document.audit()
    for entity in recursive_decompose(document.modelspace()):
        try:
            list(ezdxf_path.make_path(entity).flattening(0.02))
        except TypeError:
            continue
    return time.process_time() - begin


if __name__ == "__main__":
    main()
