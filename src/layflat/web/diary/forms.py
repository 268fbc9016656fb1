"""Forms of the calendar: a booking, a place, the working hours."""

import datetime
from collections.abc import Iterable
from typing import Any, Final

from django import forms
from django.core.exceptions import ValidationError

from layflat.web.diary.booking import Wanted
from layflat.web.diary.hours import WEEKDAYS, Hours, at, is_on_the_clock
from layflat.web.diary.models import Booking, Place
from layflat.web.diary.works import WORKS
from layflat.web.jobs.models import Job
from layflat.web.people.models import Person

_DATE: Final = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
_TIME: Final = forms.TimeInput(attrs={"type": "time", "step": "300"}, format="%H:%M")


class BookingForm(forms.Form):
    """What, when, where, who; days and times by the shop's clock."""

    work = forms.ChoiceField(
        choices=[("", "something else"), *((work.key, work.title) for work in WORKS)],
        required=False,
        label="Work",
    )
    words = forms.CharField(
        max_length=120,
        required=False,
        label="What it is, or a note",
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    starts_day = forms.DateField(label="From day", widget=_DATE)
    starts_time = forms.TimeField(label="From", widget=_TIME)
    ends_day = forms.DateField(label="Until day", widget=_DATE)
    ends_time = forms.TimeField(label="Until", widget=_TIME)
    place = forms.ModelChoiceField(
        queryset=Place.objects.none(), required=False, label="Where", empty_label="nowhere yet"
    )
    people = forms.ModelMultipleChoiceField(
        queryset=Person.objects.none(),
        required=False,
        label="Who",
        widget=forms.CheckboxSelectMultiple,
    )

    def __init__(
        self,
        *args: Any,
        hours: Hours,
        places: Iterable[Place],
        people: Iterable[Person],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        self.hours = hours
        place: Any = self.fields["place"]
        place.queryset = Place.objects.all()
        place.choices = [("", "nowhere yet"), *((one.pk, one.name) for one in places)]
        who: Any = self.fields["people"]
        who.queryset = Person.objects.all()
        who.choices = [(one.pk, one.shown) for one in people]

    def clean(self) -> dict[str, Any]:
        """Times that the shop's clock shows, the end after the start."""
        data = super().clean() or {}
        for name, what in (("starts", "beginning"), ("ends", "end")):
            day, time = data.get(f"{name}_day"), data.get(f"{name}_time")
            if day is None or time is None:
                continue
            if not _is_possible(day):
                self.add_error(f"{name}_day", "That day is too far away.")
            elif not is_on_the_clock(day, time, self.hours.zone):
                self.add_error(
                    f"{name}_time",
                    f"Clocks go forward that day; the {what} {time:%H:%M} is not on the clock.",
                )
        if not self.errors and self.when()[1] <= self.when()[0]:
            raise ValidationError("It ends before it starts; look at both times.")
        return data

    def when(self) -> tuple[datetime.datetime, datetime.datetime]:
        """From when until when, UTC."""
        data = self.cleaned_data
        return (
            at(data["starts_day"], data["starts_time"], self.hours.zone),
            at(data["ends_day"], data["ends_time"], self.hours.zone),
        )

    def wanted(self, job: Job | None) -> Wanted:
        """The booking that is wanted."""
        data = self.cleaned_data
        starts_at, ends_at = self.when()
        return Wanted(
            job=job,
            work=data["work"],
            words=" ".join(data["words"].split()),
            place=data["place"],
            people=list(data["people"]),
            starts_at=starts_at,
            ends_at=ends_at,
        )


def _is_possible(day: datetime.date) -> bool:
    return 2000 <= day.year <= 2200


def initial_times(
    starts_at: datetime.datetime, ends_at: datetime.datetime, hours: Hours
) -> dict[str, Any]:
    """What stands in a form's days and times."""
    starts, ends = starts_at.astimezone(hours.zone), ends_at.astimezone(hours.zone)
    return {
        "starts_day": starts.date(),
        "starts_time": starts.time(),
        "ends_day": ends.date(),
        "ends_time": ends.time(),
    }


def initial_of(booking: Booking, hours: Hours) -> dict[str, Any]:
    """What stands in the form of a booking."""
    return {
        **initial_times(booking.starts_at, booking.ends_at, hours),
        "work": booking.work,
        "words": booking.words,
        "place": booking.place_id,
        "people": [person.pk for person in booking.people.all()],
    }


class PlaceForm(forms.Form):
    """A bay or a plotter."""

    name = forms.CharField(max_length=40, label="Name")
    kind = forms.ChoiceField(choices=Place.Kind.choices, label="What it is")

    def clean_name(self) -> str:
        """Not taken."""
        name = " ".join(str(self.cleaned_data["name"]).split())
        if Place.objects.filter(name__iexact=name).exists():
            raise ValidationError(f"There is a “{name}” already.")
        return name


class HoursForm(forms.Form):
    """When the shop works, day by day; both empty on a day off."""

    def __init__(self, *args: Any, hours: Hours, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number, name in enumerate(WEEKDAYS):
            known = hours.days.get(number, (None, None))
            for part, value in zip(("opens", "closes"), known, strict=True):
                self.fields[f"{part}-{number}"] = forms.TimeField(
                    required=False, label=f"{name} {part}", initial=value, widget=_TIME
                )

    def rows(self) -> list[tuple[str, Any, Any]]:
        """The days with both their fields."""
        return [
            (name, self[f"opens-{number}"], self[f"closes-{number}"])
            for number, name in enumerate(WEEKDAYS)
        ]

    def days(self) -> dict[int, tuple[datetime.time, datetime.time] | None]:
        """What is wanted of each weekday."""
        data = self.cleaned_data
        return {
            number: (data[f"opens-{number}"], data[f"closes-{number}"])
            if data[f"opens-{number}"] and data[f"closes-{number}"]
            else None
            for number in range(len(WEEKDAYS))
        }
