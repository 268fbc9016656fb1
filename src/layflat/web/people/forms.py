"""Forms for people and the shop."""

import zoneinfo
from typing import TYPE_CHECKING, Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError

from layflat.web.people.models import Person, Role, Shop

if TYPE_CHECKING:
    _ShopModelForm = forms.ModelForm[Shop]
else:
    # Generic for the type checker only.
    _ShopModelForm = forms.ModelForm


class PersonForm(forms.Form):
    """A new person."""

    name = forms.CharField(max_length=60, help_text="Typed at sign-in, small letters.")
    shown = forms.CharField(max_length=80, label="Shown as")
    role = forms.ChoiceField(choices=Role.choices)
    password = forms.CharField(
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Ten characters or more.",
    )

    def clean_name(self) -> str:
        """In small letters, not taken."""
        name: str = self.cleaned_data["name"].strip().lower()
        if Person.objects.filter(name=name).exists():
            raise ValidationError(f"“{name}” is taken; choose another name.")
        return name

    def clean_password(self) -> str:
        """Hard enough to guess."""
        password: str = self.cleaned_data["password"]
        validate_password(password)
        return password

    def save(self) -> Person:
        """Add the person."""
        data = self.cleaned_data
        return Person.objects.create_person(
            data["name"], password=data["password"], role=Role(data["role"]), shown=data["shown"]
        )


class FirstStartForm(PersonForm):
    """The shop's name and its owner."""

    shop_name = forms.CharField(max_length=120, label="The shop's name")
    field_order = ("shop_name", "shown", "name", "password")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        del self.fields["role"]
        self.fields["shown"].label = "Your name, as others see it"
        self.fields["name"].label = "Your name for signing in"

    def save(self) -> Person:
        """Add the shop and its owner."""
        data = self.cleaned_data
        Shop.objects.create(name=data["shop_name"])
        return Person.objects.create_person(
            data["name"], password=data["password"], role=Role.OWNER, shown=data["shown"]
        )


class ShopForm(_ShopModelForm):
    """What the owner sets for everybody."""

    class Meta:
        """Every field of the shop."""

        model = Shop
        exclude = ()

    def clean_time_zone(self) -> str:
        """A zone that exists."""
        zone: str = self.cleaned_data["time_zone"]
        if zone not in zoneinfo.available_timezones():
            raise ValidationError(f"“{zone}” is no time zone; write one such as Europe/Vienna.")
        return zone
