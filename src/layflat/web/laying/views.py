"""Mixes, and pictures of pieces as they were laid."""

from dataclasses import dataclass
from typing import Any, Final

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from layflat.base import InputError
from layflat.web.files.models import StoredFile
from layflat.web.files.sending import sent_once
from layflat.web.laying import mixes as mix
from layflat.web.laying.models import Laying


@dataclass(frozen=True)
class Field:
    """A number that is asked for.

    Attributes:
        name: in the address.
        label, unit: for people.
        bounds: the least and the most.
        usual: taken where none is given.
        step: of its field.
    """

    name: str
    label: str
    unit: str
    bounds: tuple[float, float]
    usual: float
    step: str = "any"


FIELDS: Final = (
    Field("amount", "How much", "ml", mix.AMOUNT_ML, mix.DEFAULT_ML),
    Field("shampoo", "Shampoo in a litre", "ml", mix.SHAMPOO_ML_PER_L, mix.DEFAULT_SHAMPOO),
    Field("tack", "Strength wanted", "% by volume", mix.TACK_PERCENT, mix.DEFAULT_TACK),
    Field("bottle", "Alcohol at hand", "% by volume", mix.BOTTLE_PERCENT, mix.DEFAULT_BOTTLE),
    Field("bay", "Temperature in the bay", "°C", (0.0, 45.0), 21.0),
)


@require_safe
def mixes(request: HttpRequest) -> HttpResponse:
    """Slip and tack solution for a wanted amount."""
    asked = {field.name: request.GET.get(field.name, "") for field in FIELDS}
    context: dict[str, Any] = {
        "part": "mixes",
        "fields": {
            field.name: (field, asked[field.name] or f"{field.usual:g}") for field in FIELDS
        },
        "slip_cautions": mix.SLIP_CAUTIONS,
        "tack_cautions": mix.TACK_CAUTIONS,
    }
    try:
        values = {field.name: _number(field, asked[field.name]) for field in FIELDS}
        context["slip"] = mix.slip(values["amount"], shampoo_ml_per_l=values["shampoo"])
        context["tack"] = mix.tack(
            values["amount"], percent=values["tack"], bottle_percent=values["bottle"]
        )
        context["hint"] = mix.temperature_hint(values["bay"])
        context["values"] = values
    except InputError as error:
        context["refused"] = str(error)
    return render(request, "laying/mixes.html", context)


def _number(field: Field, text: str) -> float:
    """A number as people write it, with a point or a comma; the usual one for none."""
    if not text.strip():
        return field.usual
    try:
        value = float(text.strip().replace(",", "."))
    except ValueError as error:
        raise InputError(f"{field.label}: write a number, such as {field.usual:g}.") from error
    least, most = field.bounds
    if not least <= value <= most:
        raise InputError(f"{field.label} is between {least:g} and {most:g} {field.unit}.")
    return value


@require_safe
def picture(request: HttpRequest, number: str, sha256: str) -> HttpResponse:
    """A picture that was taken when a piece was laid or mended."""
    of_job = Laying.objects.filter(cut__piece__outcome__cover__job__number=number)
    return sent_picture(
        request,
        sha256,
        is_known=of_job.filter(photo__sha256=sha256).exists()
        or of_job.filter(thumb__sha256=sha256).exists(),
    )


def sent_picture(request: HttpRequest, sha256: str, *, is_known: bool) -> HttpResponse:
    """A kept picture by its hash, if it belongs to what is asked about.

    Raises:
        Http404: it does not, or it is no longer there.
    """
    stored = StoredFile.objects.filter(sha256=sha256).first() if is_known else None
    if stored is None:
        raise Http404("There is no such picture.")
    return sent_once(request, stored)
