"""Forms for bodies, their scans and their panels."""

from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError

from layflat.base import InputError, OutputError
from layflat.web.bodies.contents import keep_panels, keep_scan
from layflat.web.bodies.library import add_revision
from layflat.web.bodies.models import Body, Revision
from layflat.web.files.models import StoredFile
from layflat.web.people.models import Person

if TYPE_CHECKING:
    _BodyModelForm = forms.ModelForm[Body]
else:
    # Generic for the type checker only.
    _BodyModelForm = forms.ModelForm

UNITS = (
    ("", "as the file says (GLB)"),
    ("mm", "millimetres"),
    ("cm", "centimetres"),
    ("m", "metres"),
    ("in", "inches"),
)
_FIRST_YEAR = 1885
_LAST_YEAR = 2199


class BodyForm(_BodyModelForm):
    """What the shop calls a body."""

    class Meta:
        """All that people write; whether it is retired is a step of its own."""

        model = Body
        fields = ("maker", "name", "year_from", "year_to", "note")
        labels = {"name": "Model", "year_from": "Built from", "year_to": "Built until"}  # noqa: RUF012
        help_texts = {  # noqa: RUF012
            "maker": "As the shop says it; search looks for these words.",
            "year_to": "Leave free while it is still built.",
            "note": "What tells it from its sisters: doors, trim, lamps.",
        }

    def clean_year_from(self) -> int | None:
        """A year in which there were vehicles."""
        return _plausible(self.cleaned_data["year_from"])

    def clean_year_to(self) -> int | None:
        """A year in which there were vehicles."""
        return _plausible(self.cleaned_data["year_to"])

    def clean(self) -> dict[str, Any]:
        """The years in their order."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        first, last = data.get("year_from"), data.get("year_to")
        if first and last and last < first:
            self.add_error("year_to", "The last year lies before the first; change one of them.")
        return data


def _plausible(year: int | None) -> int | None:
    if year is not None and not _FIRST_YEAR <= year <= _LAST_YEAR:
        raise ValidationError(f"Write a year of four digits, from {_FIRST_YEAR} on.")
    return year


class ScanForm(forms.Form):
    """A new revision: a scan and its panels."""

    scan = forms.FileField(
        help_text="PLY, OBJ, STL or GLB.",
        widget=forms.FileInput(attrs={"accept": ".ply,.obj,.stl,.glb"}),
    )
    unit = forms.ChoiceField(
        choices=UNITS,
        required=False,
        label="The scan's unit",
        help_text="A wrong unit makes every pattern wrong. The scanner's program says it.",
    )
    panels = forms.FileField(
        required=False,
        label="Its panels",
        help_text="A file of panels, if there is one: outlines, edges and keep-outs.",
        widget=forms.FileInput(attrs={"accept": ".json"}),
    )

    def __init__(
        self, *args: Any, body: Body, who: Person, newest: Revision | None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self._body, self._who, self._newest = body, who, newest
        self._kept: dict[str, StoredFile] = {}
        if newest is not None and newest.scan is not None:
            again = f"Leave free to keep that of revision {newest.number}: “%s”."
            self.fields["scan"].required = False
            self.fields["scan"].help_text = f"PLY, OBJ, STL or GLB. {again % newest.scan.name}"
            self.initial["unit"] = newest.unit
            if newest.panels is not None:
                self.fields["panels"].help_text = again % newest.panels.name

    def clean(self) -> dict[str, Any]:
        """Keeps the files once both can be used."""
        data: dict[str, Any] = super().clean() or self.cleaned_data
        if self.errors:
            return data
        unit = data["unit"]
        if data["scan"] is None and data["panels"] is None:
            raise ValidationError("Choose a new scan, a new file of panels, or both.")
        self._keep("scan", lambda file: keep_scan(file, unit=unit, who=self._who))
        self._keep("panels", lambda file: keep_panels(file, who=self._who))
        return data

    def _keep(self, field: str, keeper: Any) -> None:
        file = self.cleaned_data[field]
        if file is None:
            return
        try:
            self._kept[field] = keeper(file)
        except (InputError, OutputError) as error:
            self.add_error(field, str(error))

    def save(self) -> Revision:
        """Add the revision."""
        newest, kept = self._newest, self._kept
        if newest is None or newest.scan is None or "scan" in kept:
            scan, unit = kept["scan"], self.cleaned_data["unit"]
        else:
            # The unit goes with the scan: without a new one it is not asked anew.
            scan, unit = newest.scan, newest.unit
        panels = kept.get("panels") or (newest.panels if newest else None)
        return add_revision(self._body, scan=scan, unit=unit, panels=panels, who=self._who)


class UnitForm(forms.Form):
    """The unit in which a scan is tried again."""

    unit = forms.ChoiceField(choices=UNITS, required=False, label="The scan's unit")
