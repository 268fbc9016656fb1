"""Damaged drawings: 200 files by seed, each right, asked or refused; the time against ezdxf's.

The peer opens the same DXF files, audits them and flattens what draws lines, and no more: it joins
nothing and judges nothing.
"""

import importlib
import logging
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import ezdxf
from ezdxf import path as ezdxf_path
from ezdxf.disassemble import recursive_decompose

DXF, SVG = 120, 80
MOST_SECONDS = 5.0


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
