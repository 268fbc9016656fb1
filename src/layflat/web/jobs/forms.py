"""Forms of this part: the enquiry, a fault, and what of a job can be edited."""

import re
from typing import TYPE_CHECKING, Any, Final

from django import forms
from django.core.exceptions import ValidationError

from layflat.base import InputError
from layflat.web.bodies.models import Revision
from layflat.web.jobs.enquiry import Enquiry
from layflat.web.jobs.kinds import KINDS
from layflat.web.jobs.models import Customer, Job, Vehicle
from layflat.web.jobs.outline import is_view
from layflat.web.jobs.pictures import Picture, read_picture
from layflat.web.jobs.vin import tidied, vin_warning
from layflat.web.jobs.walk_round import Seen
from layflat.web.people.models import Person

if TYPE_CHECKING:
    _JobModelForm = forms.ModelForm[Job]
    _VehicleModelForm = forms.ModelForm[Vehicle]
    _CustomerModelForm = forms.ModelForm[Customer]
else:
    # Generic for the type checker only.
    _JobModelForm = _VehicleModelForm = _CustomerModelForm = forms.ModelForm

_KNOWN: Final = re.compile(r"c(\d{1,18})(?:v(\d{1,18}))?")
_PLACE: Final = ("view", "across", "along", "x", "y", "z")
_FARTHEST_MM: Final = 30_000.0
"""No vehicle that film is laid on is longer: anything beyond is no place on a body."""


def _clean_vin(text: str) -> str:
    vin = tidied(text)
    if vin:
        try:
            vin_warning(vin)
        except InputError as error:
            raise ValidationError(str(error)) from error
    return vin


def _date(label: str) -> forms.DateField:
    return forms.DateField(
        label=label,
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )


def _text(label: str, longest: int, **extra: Any) -> forms.CharField:
    return forms.CharField(label=label, max_length=longest, required=False, **extra)


class EnquiryForm(forms.Form):
    """The counter's one page: who, which vehicle, what for, by when."""

    known = forms.CharField(required=False, max_length=40)
    name = _text("Name", 120, widget=forms.TextInput(attrs={"autocomplete": "off"}))
    phone = _text("Phone", 40, widget=forms.TextInput(attrs={"type": "tel", "autocomplete": "off"}))
    email = forms.EmailField(
        label="E-mail",
        required=False,
        max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )
    plate = _text("Plate", 20)
    vin = _text("VIN", 40)
    body = forms.ModelChoiceField(
        Revision.objects.select_related("body"), required=False, label="Body"
    )
    described = _text("The vehicle in words", 160, help_text="Where the library has no such body.")
    paint = _text(
        "Paint", 400, help_text="Colour, finish, what is known of repaint, coating or old film."
    )
    wishes = _text(
        "Wishes",
        4000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="In the customer's words: what to cover, what matters most, what stays as it is.",
    )
    wanted = _date("Wanted by")

    def clean_vin(self) -> str:
        """Tidied and possible."""
        return _clean_vin(self.cleaned_data["vin"])

    def clean(self) -> dict[str, Any]:
        """Find whom the form chose; ask for what a new customer or vehicle lacks."""
        data: dict[str, Any] = super().clean() or {}
        chosen = _KNOWN.fullmatch(data.get("known", ""))
        data["customer"], data["vehicle"] = None, None
        if chosen:
            data["customer"] = Customer.objects.filter(pk=int(chosen[1])).first()
            if data["customer"] is None:
                self.add_error("known", "This customer is no longer there; search again.")
            elif chosen[2]:
                data["vehicle"] = Vehicle.objects.filter(
                    pk=int(chosen[2]), customer=data["customer"]
                ).first()
                if data["vehicle"] is None:
                    self.add_error("known", "This vehicle is no longer there; search again.")
        elif not data.get("name") and "name" not in self.errors:
            self.add_error("name", "Write the customer's name, or choose a customer you found.")
        given = any(data.get(name) for name in ("plate", "vin", "body", "described"))
        if data["vehicle"] is None and not given and "vin" not in self.errors:
            self.add_error(
                "plate", "Say which vehicle it is: its plate, VIN, body, or a few words."
            )
        return data

    def enquiry(self) -> Enquiry:
        """What was written down, once the form is valid."""
        data = {name: value for name, value in self.cleaned_data.items() if name != "known"}
        return Enquiry(**data)


class FaultForm(forms.Form):
    """One fault, tapped or chosen."""

    kind = forms.ChoiceField(
        choices=[(kind.name, kind.word) for kind in KINDS],
        error_messages={"required": "Choose what kind of fault it is."},
    )
    panel = _text("Panel", 80)
    note = _text("Note", 400)
    photo = forms.FileField(
        label="Picture",
        required=False,
        max_length=200,
        error_messages={"empty": "The picture arrived empty; take it again."},
        widget=forms.FileInput(attrs={"accept": "image/*", "capture": "environment"}),
    )
    view = _text("View", 8)
    across = forms.FloatField(required=False, min_value=0, max_value=1)
    along = forms.FloatField(required=False, min_value=0, max_value=1)
    x = forms.FloatField(required=False, min_value=-_FARTHEST_MM, max_value=_FARTHEST_MM)
    y = forms.FloatField(required=False, min_value=-_FARTHEST_MM, max_value=_FARTHEST_MM)
    z = forms.FloatField(required=False, min_value=-_FARTHEST_MM, max_value=_FARTHEST_MM)

    def clean_photo(self) -> Picture | None:
        """Checked and made anew; see `pictures`."""
        upload = self.cleaned_data["photo"]
        if not upload:
            return None
        try:
            return read_picture(upload)
        except InputError as error:
            raise ValidationError(str(error)) from error

    def clean(self) -> dict[str, Any]:
        """Ask for a place where none was given."""
        data: dict[str, Any] = super().clean() or {}
        if self.errors.keys() & set(_PLACE):
            self.add_error("panel", "The place could not be read; tap it once more.")
        elif not self.errors and not (data["panel"] or self._on_view(data) or self._on_body(data)):
            self.add_error("panel", "Tap the place of the fault, or choose the panel.")
        return data

    @staticmethod
    def _on_body(data: dict[str, Any]) -> bool:
        return all(data[axis] is not None for axis in "xyz")

    @staticmethod
    def _on_view(data: dict[str, Any]) -> bool:
        return is_view(data["view"]) and None not in (data["across"], data["along"])

    def seen(self) -> Seen:
        """The fault, once the form is valid."""
        data = self.cleaned_data
        on_body, on_view = self._on_body(data), self._on_view(data)
        return Seen(
            kind=data["kind"],
            panel=data["panel"],
            note=data["note"],
            at_mm=(data["x"], data["y"], data["z"]) if on_body else None,
            view=data["view"] if on_view else "",
            across=data["across"] if on_view else None,
            along=data["along"] if on_view else None,
        )


class WishesForm(_JobModelForm):
    """What the customer wishes, and the days."""

    wanted = _date("Wanted by")
    promised = _date("Promised for")

    class Meta:
        """Wishes and days."""

        model = Job
        fields = ("wishes", "wanted", "promised")


class HoldForm(_JobModelForm):
    """Who has the job and what blocks it."""

    class Meta:
        """Holder and obstacle."""

        model = Job
        fields = ("assigned", "blocked_by")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_active=True).order_by("shown")
        self.fields["assigned"] = forms.ModelChoiceField(
            people, required=False, label="Who has it", empty_label="nobody yet"
        )
        self.fields["blocked_by"].help_text = "What it waits for, in words; empty when nothing."


class VehicleForm(_VehicleModelForm):
    """The vehicle."""

    vin = _text("VIN", 40)

    class Meta:
        """All but whose it is."""

        model = Vehicle
        fields = ("plate", "vin", "body", "described", "paint")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["body"] = forms.ModelChoiceField(
            Revision.objects.select_related("body"), required=False, label="Body"
        )
        self.fields["described"].label = "The vehicle in words"

    def clean_vin(self) -> str:
        """Tidied and possible."""
        return _clean_vin(self.cleaned_data["vin"])


class CustomerForm(_CustomerModelForm):
    """The customer."""

    class Meta:
        """Name and ways to reach."""

        model = Customer
        fields = ("name", "phone", "email", "address")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["email"].label = "E-mail"
