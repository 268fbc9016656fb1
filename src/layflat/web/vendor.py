"""The few browser libraries that pages import, served from where npm put them.

A package holds hundreds of files; a page imports a handful. Those are named here, and nothing
else of the packages has an address.
"""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from django.contrib.staticfiles.finders import BaseFinder
from django.core import checks
from django.core.files.storage import FileSystemStorage

NODE_MODULES = Path(__file__).parent / "npm" / "node_modules"

_ADDONS = "three/examples/jsm"
VENDORED: Mapping[str, str] = {
    "vendor/htmx.js": "htmx.org/dist/htmx.min.js",
    "vendor/three/three.module.js": "three/build/three.module.js",
    "vendor/three/three.core.js": "three/build/three.core.js",
    "vendor/three-addons/controls/OrbitControls.js": f"{_ADDONS}/controls/OrbitControls.js",
    "vendor/three-addons/lines/LineMaterial.js": f"{_ADDONS}/lines/LineMaterial.js",
    "vendor/three-addons/lines/LineSegments2.js": f"{_ADDONS}/lines/LineSegments2.js",
    "vendor/three-addons/lines/LineSegmentsGeometry.js": f"{_ADDONS}/lines/LineSegmentsGeometry.js",
    "vendor/three-addons/loaders/GLTFLoader.js": f"{_ADDONS}/loaders/GLTFLoader.js",
    "vendor/three-addons/utils/BufferGeometryUtils.js": f"{_ADDONS}/utils/BufferGeometryUtils.js",
    "vendor/three-addons/utils/SkeletonUtils.js": f"{_ADDONS}/utils/SkeletonUtils.js",
}
"""The name under `/static/` of every file that pages import, and its place in the packages."""


class VendorStorage(FileSystemStorage):
    """Opens the files by the names that pages use."""

    def path(self, name: str) -> str:
        """Where the file lies."""
        return str(NODE_MODULES / VENDORED[name])


class VendorFinder(BaseFinder):
    """Finds the browser libraries for Django's static files."""

    storage = VendorStorage(location=NODE_MODULES)

    def check(self, **_kwargs: Any) -> list[checks.CheckMessage]:
        """A warning when a library is not installed."""
        missing = [name for name, place in VENDORED.items() if not (NODE_MODULES / place).is_file()]
        if not missing:
            return []
        return [
            checks.Warning(
                f"Pages import {missing[0]}, which is not installed: they will lack it.",
                hint="Run “make setup”, or “npm ci” in src/layflat/web/npm.",
                id="layflat.W001",
            )
        ]

    def find(self, path: str, find_all: bool = False, **_kwargs: Any) -> Any:
        """The place of a file; a list of it where all are wanted."""
        place = VENDORED.get(path)
        found = [] if place is None else [str(NODE_MODULES / place)]
        if find_all:
            return found
        return found[0] if found else []

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[tuple[str, VendorStorage]]:
        """Every file that is there."""
        del ignore_patterns  # meant for folders; each of these files is wanted
        for name, place in VENDORED.items():
            if (NODE_MODULES / place).is_file():
                yield name, self.storage
