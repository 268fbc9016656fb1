"""Kept patterns out, as drawings."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_safe

from layflat.pattern import Drawing, dxf_text, svg_text
from layflat.web.files.sending import as_drawing
from layflat.web.patterns.keeping import pattern_of
from layflat.web.patterns.models import KeptRevision


@require_safe
def as_dxf(_request: HttpRequest, kept: int) -> HttpResponse:
    """One revision of a kept pattern as DXF, in mm, as it is kept."""
    found = _revision(kept)
    text = dxf_text(Drawing(patterns=(pattern_of(found),)))
    return _handed(text, found, ".dxf", "image/vnd.dxf")


@require_safe
def as_svg(_request: HttpRequest, kept: int) -> HttpResponse:
    """The same as SVG at true size."""
    found = _revision(kept)
    text = svg_text(Drawing(patterns=(pattern_of(found),)))
    return as_drawing(_handed(text, found, ".svg", "image/svg+xml"))


def _revision(pk: int) -> KeptRevision:
    return get_object_or_404(KeptRevision.objects.select_related("kept", "pattern"), pk=pk)


def _handed(text: str, revision: KeptRevision, ending: str, media_type: str) -> HttpResponse:
    name = "".join(
        sign if sign.isascii() and sign.isalnum() else "-" for sign in revision.kept.name
    )
    return HttpResponse(
        text.encode(),
        content_type=media_type,
        headers={
            "Content-Disposition": f'attachment; filename="{name}-{revision.number}{ending}"',
            "Cache-Control": "private, no-cache",
        },
    )
