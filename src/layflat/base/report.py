"""The report that goes with every result: what was computed, from what, and how."""

import json
import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

import layflat
from layflat.base.files import file_sha256


@dataclass(frozen=True, kw_only=True)
class Report:
    """One report.

    Attributes:
        kind: what was done: flatten, nest, cut, job, fit, cover, check, strip or send.
        inputs: the files that went in, name to SHA-256.
        results: what came out; plain values, units in the names.
        seed: the seed of the search, if there was one.
        defaults: values that nobody gave, by name.
        warnings: sentences for a person.
    """

    kind: str
    inputs: Mapping[str, str]
    results: Mapping[str, Any]
    seed: int | None = None
    defaults: Mapping[str, Any] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    @staticmethod
    def hashes(*paths: Path) -> dict[str, str]:
        """The `inputs` of a report on the files at *paths*: their names with their SHA-256.

        Files of the same name in several folders are told apart by their folders.
        """
        alike = Counter(path.name for path in set(paths))
        return {
            path.name if alike[path.name] == 1 else path.as_posix(): file_sha256(path)
            for path in paths
        }


def report_json(report: Report) -> str:
    """The report as JSON text: results at the top level beside the common fields."""
    document = {
        "layflat": layflat.__version__,
        "kind": report.kind,
        "inputs": dict(report.inputs),
        "seed": report.seed,
        "defaults": dict(report.defaults),
        "warnings": list(report.warnings),
        **report.results,
    }
    return json.dumps(_plain(document), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _plain(value: Any) -> Any:
    """*value* in JSON's own types; numbers are rounded to what they can mean."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, float):
        return float(f"{value:.10g}") if math.isfinite(value) else None
    if isinstance(value, Path):
        return value.name
    return value
