"""Both bodies, coarse, made once."""

import pytest

from layflat.demo import Design, body_mesh, coupe_design, van_design
from layflat.surface import Mesh

SPACING_MM = 34.0


@pytest.fixture(scope="session")
def designs() -> dict[str, Design]:
    return {"van": van_design(), "coupe": coupe_design()}


@pytest.fixture(scope="session", params=["van", "coupe"])
def name(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture(scope="session")
def design(designs: dict[str, Design], name: str) -> Design:
    return designs[name]


@pytest.fixture(scope="session")
def body(design: Design) -> Mesh:
    return body_mesh(design, spacing_mm=SPACING_MM)
