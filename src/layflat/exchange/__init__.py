"""Archives that shops give each other: a body or patterns with their history, signed."""

from layflat.exchange.compare import Standing, missing, standing
from layflat.exchange.from_files import from_files
from layflat.exchange.histories import chain, joined, mark, of_shop, without_jobs
from layflat.exchange.manifest import manifest_json, read_manifest
from layflat.exchange.opened import Opened, opened
from layflat.exchange.pack import Packed, pack
from layflat.exchange.plain import read_json
from layflat.exchange.records import (
    FORM,
    MANIFEST,
    MOST_BYTES,
    SIGNATURE,
    BodyState,
    Contents,
    CorrectionState,
    CoverState,
    Entry,
    Manifest,
    Part,
    PatternLine,
    PatternState,
    Vehicle,
)
from layflat.exchange.sign import Key, Signed, fingerprint, key_at, read_fingerprint

__all__ = [
    "FORM",
    "MANIFEST",
    "MOST_BYTES",
    "SIGNATURE",
    "BodyState",
    "Contents",
    "CorrectionState",
    "CoverState",
    "Entry",
    "Key",
    "Manifest",
    "Opened",
    "Packed",
    "Part",
    "PatternLine",
    "PatternState",
    "Signed",
    "Standing",
    "Vehicle",
    "chain",
    "fingerprint",
    "from_files",
    "joined",
    "key_at",
    "manifest_json",
    "mark",
    "missing",
    "of_shop",
    "opened",
    "pack",
    "read_fingerprint",
    "read_json",
    "read_manifest",
    "standing",
    "without_jobs",
]
