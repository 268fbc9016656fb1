"""A published surface on the scan bench, in a real browser: tapped round, made a panel, and cut.

The surface is that of tests/cortex.py, inflated, and read in centimetres: a smooth shape as long as
a hood is, curved both ways, that nobody here has drawn.
"""

import json
import re
from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pytest
import shapely
from django.core.files.base import ContentFile
from django.db import transaction
from playwright.sync_api import Page, expect

from browser.conftest import Live
from cortex import gifti
from layflat.base import FloatArray
from layflat.pattern import Pattern, pattern_area_mm2, read_pattern_json
from layflat.surface import Mesh, ply_bytes, read_mesh
from layflat.web.bodies.contents import keep_scan, named, panels_of
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.store import path_of
from layflat.web.jobs.models import Job
from layflat.web.offer.accepted import accepted_outcome
from layflat.web.offer.accepting import accept
from layflat.web.offer.making import Wanted, draft, keep_version, last_version, paper_of
from layflat.web.people.models import Person, Role, Shop
from web.bayed import a_roll
from web.covered import a_cover, a_job
from web.cutting.patterned import to_be_cut

PageOf = Callable[..., Page]
EXPECTED = ("GPU stall due to ReadPixels",)
SLOW_MS = 240_000
NUMBER = "2076-0002"
# Four taps round the middle of the picture, in pixels from it.
TAPS = [(-50, -40), (50, -40), (50, 40), (-50, 40)]


@pytest.fixture
def scan(live: Live) -> Mesh:
    """The published surface in millimetres; the library has it in centimetres."""
    points, faces = gifti("infl_left.gii.gz")
    mesh = Mesh(points.astype(np.float64), faces.astype(np.int64))
    with live.inside():
        who = Person.objects.get(name=Role.COUNTER.value)
        body = Body.objects.create(maker="Tarnholm", name="Cortex")
        file = ContentFile(ply_bytes(mesh), name="cortex.ply")
        add_revision(body, scan=keep_scan(file, unit="cm", who=who), unit="cm", who=who)
    return Mesh(10.0 * mesh.vertices_mm, mesh.faces)


@pytest.mark.long
def test_a_public_mesh_is_traced_covered_and_cut(live: Live, scan: Mesh, page_of: PageOf) -> None:
    page = page_of(Role.COUNTER, expected=EXPECTED)
    with live.inside():
        body = Revision.objects.get(body__name="Cortex").body_id
    page.goto(f"/bodies/{body}/")
    traced(page)
    with live.inside():
        made = Revision.objects.select_related("panels", "scan").get(body=body, number=2)
        assert made.panels is not None
        (panel,) = panels_of(made.panels).panels
        assert panel.name == "crown"
        cover = a_cover(a_job(NUMBER, body=made), "Crown", panels=["crown"])
    # The revision is prepared before its cover can be chosen.
    page.goto(f"/bodies/{body}/revisions/2/")
    expect(page.locator(".viewer.shows-body")).to_be_visible(timeout=SLOW_MS)
    page.goto(f"/jobs/{NUMBER}/cover/{cover.number}/")
    page.locator("#compute").click()
    page.locator("[data-figures=computed]").wait_for(timeout=SLOW_MS)
    # Four geodesic lines on the published surface: the piece is as large as what they border there.
    rim = np.concatenate([edge.points_mm for edge in panel.outline])
    with live.inside():
        program, pattern = cut()
        bordered = bordered_mm2(scan, made, rim)
    away = np.linalg.norm(rim[:, None] - rim[None], axis=2).max()
    assert 150.0 < away < 900.0
    area = pattern_area_mm2(pattern)
    assert min(abs(size - area) for size in borders_mm2(program)) < 0.02 * area
    # Film is laid with little stretch on so gentle a shape.
    assert area == pytest.approx(bordered, rel=0.04)


def traced(page: Page) -> None:
    """Put upright, tapped round, closed, and made a panel of a new revision."""
    page.get_by_role("link", name="Trace panels on the scan bench").click(timeout=SLOW_MS)
    page.get_by_role("button", name="Put the scan upright").click()
    expect(page.locator(".viewer.shows-body")).to_be_visible(timeout=SLOW_MS)
    page.get_by_label("Name of a new panel").fill("crown")
    page.get_by_role("button", name="Trace it").first.click()
    says = page.locator("#says")
    for number, (right, down) in enumerate(TAPS, start=1):
        expect(says).to_contain_text(f"Tap point {number} of crown")
        box = page.locator(".viewer-stage canvas").bounding_box()
        assert box is not None
        page.mouse.click(box["x"] + box["width"] / 2 + right, box["y"] + box["height"] / 2 + down)
    expect(page.locator("#drafts")).to_contain_text("4 points")
    page.get_by_role("button", name="Close the outline").click()
    page.get_by_role("button", name="Make panels").click()
    expect(page.get_by_text("Panels were made")).to_be_visible(timeout=SLOW_MS)


def cut() -> tuple[str, Pattern]:
    """The program that the cover's one piece is cut by, and its pattern."""
    job = Job.objects.get(number=NUMBER)
    who = Person.objects.get(name=Role.INSTALLER.value)
    # Prices for this offer alone; the shop of the other tests stays as it is.
    shop = Shop.objects.get()
    shop.currency, shop.film_per_metre, shop.rate_per_hour = "EUR", Decimal(62), Decimal(78)
    asked = Wanted(covers=(job.covers.get().pk,))
    made = draft(job, asked, shop=shop, version=last_version(job) + 1)
    offer = keep_version(job, asked, made, paper_of(made, shop=shop), shop=shop, who=who)
    with transaction.atomic():
        held = Job.objects.select_for_update().get(pk=job.pk)
        accept(held, seen=offer.sha256, alternative=1, name="Perrin Oake", shop=shop, heard_by=who)
    job.refresh_from_db()
    layout = to_be_cut(job, a_roll(lot="LW-cortex", length_mm=4000), who=who)
    section = layout.sections.get()
    (piece,) = accepted_outcome(job).pieces.all()
    assert section.program is not None
    assert piece.pattern is not None
    return (
        path_of(section.program.sha256).read_text(encoding="ascii"),
        read_pattern_json(json.loads(path_of(piece.pattern.sha256).read_bytes())),
    )


def borders_mm2(program: str) -> list[float]:
    """The area round which each way of the knife goes, from where it comes down, at 40 a mm."""
    areas = []
    for way in program.split("PU")[1:]:
        told = re.findall(r"(?:^|PD)((?:-?\d+,?)+)", way)
        places = np.reshape([int(x) for part in told for x in re.findall(r"-?\d+", part)], (-1, 2))
        if len(places) > 3:
            areas.append(shapely.Polygon(places / 40.0).buffer(0).area)
    return areas


def bordered_mm2(scan: Mesh, made: Revision, rim: FloatArray) -> float:
    """The area of the surface inside the rim, summed over the published triangles.

    Each triangle counts by how many of its 78 places, spread evenly, lie inside the rim, seen along
    the rim's mean normal.
    """
    assert made.scan is not None
    with named(made.scan) as place:
        upright = read_mesh(place, unit="mm").mesh
    # Turning and mending changed no area.
    assert upright.area_mm2 == pytest.approx(scan.area_mm2, rel=1e-6)
    points, faces = upright.vertices_mm, upright.faces
    centre = rim.mean(axis=0)
    axes = np.linalg.svd(rim - centre)[2]
    share = [(i, j) for i in range(12) for j in range(12 - i)]
    weight = np.array([[i + 1 / 3, j + 1 / 3, 12 - i - j - 2 / 3] for i, j in share]) / 12
    places = np.einsum("kc,fcx->fkx", weight, points[faces]) - centre
    near = np.abs(places @ axes[2]) < 0.5 * np.ptp(rim, axis=0).max()
    border = shapely.Polygon((rim - centre) @ axes[:2].T)
    inside = shapely.contains_xy(border, places @ axes[0], places @ axes[1])
    return float((upright.face_areas_mm2 * (near & inside).mean(axis=1)).sum())
