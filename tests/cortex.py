"""A published surface as a scan: the cerebral cortex of the template fsaverage5.

Made from magnetic resonance scans of forty heads: B. Fischl, M. I. Sereno, R. B. H. Tootell,
A. M. Dale, High-resolution intersubject averaging and a coordinate system for the cortical surface,
Human Brain Mapping 8 (1999) 272-284. Its files come with the package nilearn, which
requirements/testdata.txt pins.
"""

import base64
import gzip
import importlib.util
import zlib
from pathlib import Path

import numpy as np
from defusedxml import ElementTree

FOLDER = "datasets/data/fsaverage5"
TYPES = {"NIFTI_TYPE_FLOAT32": "<f4", "NIFTI_TYPE_INT32": "<i4"}


def gifti(name: str) -> list[np.ndarray]:
    """The arrays (k, 3) of a GIFTI file: points, then triangles."""
    package = importlib.util.find_spec("nilearn")
    assert package is not None, "install requirements/testdata.txt with --no-deps"
    assert package.submodule_search_locations is not None
    path = Path(package.submodule_search_locations[0]) / FOLDER / name
    root = ElementTree.fromstring(gzip.decompress(path.read_bytes()))
    return [
        np.frombuffer(
            zlib.decompress(base64.b64decode(array.find("Data").text)),
            TYPES[array.get("DataType")],
        ).reshape(-1, 3)
        for array in root.iter("DataArray")
    ]
