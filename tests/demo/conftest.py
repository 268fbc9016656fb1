"""Both bodies, coarse, made once."""

import pytest

from layflat.demo import Design, body_mesh, coupe_design, van_design
from layflat.surface import Mesh


@pytest.fixture(scope="session", params=["van", "coupe"])
def design(request: pytest.FixtureRequest) -> Design:
    return van_design() if request.param == "van" else coupe_design()


@pytest.fixture(scope="session")
def body(design: Design) -> Mesh:
    return body_mesh(design, spacing_mm=34.0)
