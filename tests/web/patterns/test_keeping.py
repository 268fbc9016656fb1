"""Kept patterns: rows are added, never changed; what is read is what was kept, exactly."""

import pytest

from layflat.base import InputError
from layflat.pattern import pattern_json
from layflat.web.bodies.models import Body
from layflat.web.files.store import path_of
from layflat.web.patterns.keeping import current, keep, kept_pattern, pattern_of
from layflat.web.patterns.models import KeptPattern, KeptRevision
from layflat.web.patterns.shown import exactness_rows
from layflat.web.record.models import Event
from web.patterns.drawn import a_pattern


def kept(body: Body, *, name: str = "mirror-cap", wide_mm: float = 240.0) -> KeptRevision:
    return keep(
        body,
        name=name,
        title=name.capitalize(),
        pattern=a_pattern("from a drawing", wide_mm=wide_mm),
        origin="drawing",
        exactness={"deviation_mm": 0.05},
        said=["One gap of 0.4 mm was closed."],
        source=None,
        who=None,
    )


@pytest.mark.django_db
def test_a_pattern_is_kept_as_it_is_under_its_name() -> None:
    body = Body.objects.create(maker="Tarnholm", name="Siskwing")
    revision = kept(body)
    assert pattern_json(pattern_of(revision)) == pattern_json(a_pattern("mirror-cap"))
    picture = path_of(revision.picture.sha256).read_text()
    assert picture.count("<path") == 2  # outline and hole
    # Pages show it small, and their styles do not reach into it.
    assert picture.count('<path vector-effect="non-scaling-stroke"') == 2
    assert revision.said == ["One gap of 0.4 mm was closed."]


@pytest.mark.django_db
def test_the_next_is_a_revision_and_the_same_again_is_none() -> None:
    body = Body.objects.create(maker="Tarnholm", name="Siskwing")
    first, again, next_one = kept(body), kept(body), kept(body, wide_mm=250.0)
    assert (first.pk, next_one.number) == (again.pk, 2)
    assert KeptPattern.objects.count() == 1
    assert Event.objects.filter(kind="pattern.kept").count() == 2
    assert kept(body).number == 3  # back to the first shape is a new state


@pytest.mark.django_db
def test_the_newest_of_each_counts_unless_it_is_retired() -> None:
    body = Body.objects.create(maker="Tarnholm", name="Siskwing")
    other = Body.objects.create(maker="Tarnholm", name="Gorse")
    kept(body), kept(body, wide_mm=250.0), kept(body, name="sill"), kept(other, name="cap")
    assert [(item.kept.name, item.number) for item in current(body)] == [
        ("mirror-cap", 2),
        ("sill", 1),
    ]
    KeptPattern.objects.filter(name="sill").update(is_retired=True)
    assert [item.kept.name for item in current(body)] == ["mirror-cap"]
    kept(body, name="sill", wide_mm=260.0)
    assert [item.kept.name for item in current(body)] == ["mirror-cap", "sill"]


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["", "  ", "x" * 81])
def test_a_name_is_asked_for(name: str) -> None:
    with pytest.raises(InputError, match="Name the piece"):
        kept(Body.objects.create(maker="Tarnholm", name="Siskwing"), name=name)
    assert not KeptPattern.objects.exists()


@pytest.mark.django_db
def test_a_missing_or_damaged_file_is_said() -> None:
    revision = kept(Body.objects.create(maker="Tarnholm", name="Siskwing"))
    path = path_of(revision.pattern.sha256)
    kept_pattern.cache_clear()
    path.write_text("{")
    with pytest.raises(InputError, match="damaged"):
        pattern_of(revision)
    path.unlink()
    with pytest.raises(InputError, match="no longer in the data folder"):
        pattern_of(revision)


def test_what_is_measured_is_never_said_to_be_nothing() -> None:
    said = exactness_rows({"repeat_mm": 0.0004, "deviation_mm": 0.05, "gap_mm": 0.0, "pictures": 2})
    assert [value.replace("\u00a0", " ") for _, value in said] == [
        "0.01 mm",
        "0.05 mm",
        "0.00 mm",
        "2",
    ]
