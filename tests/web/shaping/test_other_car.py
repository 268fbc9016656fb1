"""A start from another car: what is nearest, and keeping it once."""

from collections.abc import Callable

import pytest
from django.test import Client

from layflat.pattern import Pattern, place
from layflat.web.bodies.models import Body
from layflat.web.patterns.keeping import keep, pattern_of
from layflat.web.patterns.models import KeptRevision, Origin
from layflat.web.people.models import Role, Shop
from layflat.web.work.models import Computation
from revise.panel import panel
from web.shaping.brought import finish

pytestmark = pytest.mark.on_sqlite


def kept(body: Body, pattern: Pattern) -> KeptRevision:
    return keep(
        body,
        name=pattern.name,
        title=pattern.name.capitalize(),
        pattern=pattern,
        origin=Origin.DRAWING,
        exactness={},
        said=[],
        source=None,
        who=None,
    )


def test_the_nearest_pattern_of_another_car_is_kept_as_a_start(
    shop: Shop, signed_in: Callable[[Role], Client]
) -> None:
    body = Body.objects.create(maker="Tarnholm", name="Bramble")
    other = Body.objects.create(maker="Tarnholm", name="Siskwing")
    counter, address = signed_in(Role.COUNTER), f"/bodies/{body.pk}/other-car/"
    assert "No template yet" in counter.get(address).content.decode()
    template = kept(body, place(panel("fender", size=1.01), turn_deg=30.0, mirrored=True))
    assert "Nothing to start from" in counter.get(address).content.decode()
    near, _ = kept(other, panel("fender")), kept(other, panel("door", size=0.7))
    wanted = {"template": str(template.pk), "mirror": "on"}
    led_to = {counter.post(address, wanted)["Location"] for _ in range(2)}
    (found,) = led_to
    assert "are being compared" in counter.get(found).content.decode()
    result = finish(Computation.objects.get()).result
    first, second = result["proposals"]
    assert (first["revision"], first["mirrored"]) == (near.pk, True)
    assert first["rms_mm"] < second["rms_mm"]
    assert "Fender of Tarnholm Siskwing" in counter.get(found).content.decode()
    # Of another vehicle it is nothing.
    elsewhere = found.replace(f"/{body.pk}/", f"/{other.pk}/", 1)
    assert counter.get(elsewhere).status_code == 404

    pairs = [f"0:{pair['name']}" for pair in first["pairs"]]
    assert len(pairs) == 5
    form = {"which": "0", "pair": pairs, "instead": str(template.kept_id)}
    assert "Choose one" in counter.post(found, form | {"which": "9"}).content.decode()
    for _ in range(2):
        assert counter.post(found, form)["Location"].startswith("/bodies/patterns/")
    start = KeptRevision.objects.get(kept__body=body, number=2)
    assert (start.origin, start.based_on_id) == (Origin.OTHER_CAR, near.pk)
    assert any("a start only" in sentence for sentence in start.said)
    wanted_corners = pattern_of(template).outline.points_mm[pattern_of(template).outline_corners]
    points = pattern_of(start).outline.points_mm
    for corner in wanted_corners:
        assert min(((points - corner) ** 2).sum(axis=1)) < 1e-4
    assert KeptRevision.objects.filter(kept__body=body).count() == 2
