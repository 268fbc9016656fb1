"""Forms for people and the shop."""

import hashlib
import zoneinfo
from collections.abc import Iterator
from decimal import Decimal
from typing import TYPE_CHECKING, Any, ClassVar

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.validators import RegexValidator

from layflat.web.people.models import Person, Role, Shop
from layflat.web.people.shop import INCH_MM

if TYPE_CHECKING:
    _ShopModelForm = forms.ModelForm[Shop]
else:
    # Generic for the type checker only.
    _ShopModelForm = forms.ModelForm

_PER_CENT = Decimal(100)
_NEW_PASSWORD = {"autocomplete": "new-password"}


class SignInForm(AuthenticationForm):
    """Name and password."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.error_messages = {
            **self.error_messages,
            "invalid_login": "Name and password do not go together, or the person may no longer "
            "sign in. Small and capital letters count in the password.",
        }


class PersonForm(forms.Form):
    """A new person."""

    shown = forms.CharField(max_length=80, label="Name, as others see it")
    name = forms.CharField(
        max_length=60,
        label="Name for signing in",
        help_text="Small letters.",
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off"}),
    )
    role = forms.ChoiceField(choices=Role.choices, initial=Role.INSTALLER)
    password = forms.CharField(
        widget=forms.PasswordInput(attrs=_NEW_PASSWORD), help_text="Ten characters or more."
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
        known = {name: self.cleaned_data.get(name, "") for name in ("name", "shown")}
        validate_password(password, Person(**known))
        return password

    def save(self) -> Person:
        """Add the person."""
        data = self.cleaned_data
        return Person.objects.create_person(
            data["name"], password=data["password"], role=Role(data["role"]), shown=data["shown"]
        )


class FirstStartForm(PersonForm):
    """The shop's name and its owner."""

    shop_name = forms.CharField(
        max_length=120, label="The shop's name", help_text="As it shall stand on papers."
    )
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


class RoleForm(forms.Form):
    """A person's role."""

    role = forms.ChoiceField(choices=Role.choices, widget=forms.RadioSelect)


class PasswordForm(forms.Form):
    """A new password for somebody."""

    password = forms.CharField(
        label="New password",
        widget=forms.PasswordInput(attrs=_NEW_PASSWORD),
        help_text="Ten characters or more. Tell the person; nobody can read it here later.",
    )

    def __init__(self, person: Person, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.person = person

    def clean_password(self) -> str:
        """Hard enough to guess."""
        password: str = self.cleaned_data["password"]
        validate_password(password, self.person)
        return password


class OwnPasswordForm(PasswordForm):
    """A new password for oneself, for which the old one is asked."""

    old = forms.CharField(
        label="The password until now",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    again = forms.CharField(
        label="The new password once more", widget=forms.PasswordInput(attrs=_NEW_PASSWORD)
    )
    field_order = ("old", "password", "again")

    def __init__(self, person: Person, *args: Any, **kwargs: Any) -> None:
        super().__init__(person, *args, **kwargs)
        self.fields["password"].help_text = "Ten characters or more; nobody can read it later."

    def clean_again(self) -> str:
        """The same as the first time."""
        again: str = self.cleaned_data["again"]
        if "password" in self.cleaned_data and again != self.cleaned_data["password"]:
            raise ValidationError("This is another one than above; type both once more.")
        return again


_GROUPS = (
    (
        "On papers and offers",
        "What customers see.",
        ("name", "contact", "currency", "tax_percent"),
    ),
    (
        "How this shop writes",
        "Everything is kept in millimetres and in UTC; this is only how people see it.",
        ("inches", "date_form", "time_zone"),
    ),
    (
        "What offers are made from",
        "In the shop's currency, without tax. Offers that were sent keep the values of their day.",
        ("film_per_metre", "rate_per_hour", "consumables", "roll_width"),
    ),
    (
        "What the shop pays",
        "In the same currency, without tax. Only owners see these, and what an offer leaves.",
        ("film_cost_per_metre", "hour_cost", "consumables_cost"),
    ),
)


class ShopForm(_ShopModelForm):
    """What the owner sets for everybody, with values as people write them."""

    tax_percent = forms.DecimalField(
        label="Tax, in per cent", min_value=0, max_value=99, max_digits=4, decimal_places=2
    )
    roll_width = forms.FloatField(min_value=1.0)
    seen = forms.CharField(widget=forms.HiddenInput)

    class Meta:
        """Every field of the shop; two are written in other units."""

        model = Shop
        exclude = ("tax_rate", "roll_width_mm")
        labels: ClassVar = {
            "name": "The shop's name",
            "inches": "Lengths",
            "date_form": "Days",
            "film_per_metre": "Film, a metre of the roll",
            "rate_per_hour": "Work, an hour",
            "consumables": "Consumables, a job",
            "contact": "How customers reach you",
            "film_cost_per_metre": "Film, a metre of the roll, as you buy it",
            "hour_cost": "An hour of work, with everything on top of the wage",
            "consumables_cost": "Consumables, a job, as you buy them",
        }
        help_texts: ClassVar = {
            "currency": "Three letters of ISO 4217, such as EUR.",
            "time_zone": "Such as Europe/Vienna; start typing.",
            "consumables": "Blades, liquids, cloths: what every job uses up.",
            "contact": "A telephone number or an e-mail address; it stands on offers.",
            "hour_cost": "Wage, social charges, rent and lights, by the hour that is charged.",
        }
        widgets: ClassVar = {
            "inches": forms.Select(choices=((False, "Millimetres"), (True, "Inches"))),
            "time_zone": forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"}),
            "currency": forms.TextInput(attrs={"autocapitalize": "characters"}),
        }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        shop = self.instance
        self._is_inches = shop.inches
        self.fields["currency"].validators.append(
            RegexValidator("^[A-Z]{3}$", "Write three capital letters, such as EUR.")
        )
        self.fields["roll_width"].label = f"Width of the usual roll, in {_unit(shop)}"
        self.initial["tax_percent"] = (Decimal(shop.tax_rate) * _PER_CENT).quantize(Decimal("0.01"))
        width = shop.roll_width_mm
        self.initial["roll_width"] = round(width / INCH_MM, 2) if shop.inches else width
        self.initial["seen"] = seen_mark(shop)

    def clean_time_zone(self) -> str:
        """A zone that exists."""
        zone: str = self.cleaned_data["time_zone"]
        if zone not in zoneinfo.available_timezones():
            raise ValidationError(f"“{zone}” is no time zone; write one such as Europe/Vienna.")
        return zone

    def clean_roll_width(self) -> float:
        """A width that film comes in."""
        width: float = self.cleaned_data["roll_width"]
        mm = width * INCH_MM if self._is_inches else width
        if not 100.0 <= mm <= 3000.0:
            raise ValidationError("Film rolls are between 100 and 3000 mm (4 and 118 in) wide.")
        return mm

    def save(self, commit: bool = True) -> Shop:
        """Keep the values in the units that are kept."""
        shop = super().save(commit=False)
        shop.tax_rate = self.cleaned_data["tax_percent"] / _PER_CENT
        if "roll_width" in self.changed_data:
            shop.roll_width_mm = self.cleaned_data["roll_width"]
        if commit:
            shop.save()
        return shop

    def look_again(self, now: Shop) -> None:
        """Say that somebody else changed the settings; sending this form again replaces them."""
        self.data = {**dict(self.data.items()), "seen": seen_mark(now)}
        self.add_error(
            None,
            "Somebody changed these settings after you opened the page. Below are yours; save "
            "again to put them in place of the others.",
        )

    def changed_labels(self) -> list[str]:
        """What was changed, in the form's words."""
        return [str(self[name].label) for name in self.changed_data if name != "seen"]

    def groups(self) -> Iterator[tuple[str, str, list[forms.BoundField]]]:
        """Each group's heading, help and fields; fields that no group names come last."""
        named = {name for *_, names in _GROUPS for name in names}
        for heading, words, names in _GROUPS:
            yield heading, words, [self[name] for name in names]
        rest = [field for field in self.visible_fields() if field.name not in named]
        if rest:
            yield "Further", "", rest


def seen_mark(shop: Shop) -> str:
    """Stands for the shop's values, to tell whether somebody changed them meanwhile."""
    values = [str(getattr(shop, field.attname)) for field in Shop._meta.concrete_fields]
    return hashlib.sha256("\x00".join(values).encode()).hexdigest()[:16]


def _unit(shop: Shop) -> str:
    return "inches" if shop.inches else "millimetres"
