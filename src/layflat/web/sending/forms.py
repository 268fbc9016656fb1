"""The form for one machine."""

from typing import Any, Final

from django import forms

from layflat.cut import Machine as Values
from layflat.web.sending.machines import WORDS
from layflat.web.sending.values import checked, read_values

_MOST_BYTES: Final = 100_000


def _number(label: str, help_text: str = "") -> forms.FloatField:
    return forms.FloatField(
        label=label,
        help_text=help_text,
        widget=forms.NumberInput(attrs={"inputmode": "decimal", "step": "any"}),
    )


class MachineForm(forms.Form):
    """A machine: its name, where it is, and what its sheet of calibration said."""

    name = forms.CharField(max_length=60, label="Name")
    address = forms.CharField(
        max_length=300,
        required=False,
        label="Address",
        help_text="tcp://HOST:9100 for the network, or serial:/dev/ttyUSB0?baud=9600&flow=xonxoff. "
        "Without one, programs are made for it and carried there as files.",
    )
    file = forms.FileField(
        required=False,
        label="Machine file",
        help_text="As layflat calibrate writes it. Its values take the place of all below.",
    )
    knife_offset_mm = _number("Knife offset, mm", "How far the tip trails behind its pivot.")
    overcut_mm = _number("Overcut, mm", "How far a closed cut runs on beyond its start.")
    force_g = _number("Force, g", "The blade scores the liner and never goes through it.")
    scale_x = _number("Scale along the roll", "How far it goes for 1 mm that it is told.")
    scale_y = _number("Scale across the roll")
    skew = _number("Skew", "How far it strays along the roll for 1 mm told across it.")
    walk = _number("Walk", "How far the film walks across for 1 mm told along the roll.")
    max_width_mm = _number("Widest roll, mm")
    max_section_mm = _number("Longest section, mm")
    buffer_bytes = forms.IntegerField(
        label="Buffer, bytes",
        help_text="How much of a program it takes in before it cuts it; 0 where nobody knows. "
        "After a stop it tells how much may have been cut.",
    )
    answers_position = forms.BooleanField(
        required=False, label="It answers where it is, once it has been there (OA)"
    )
    send_force = forms.BooleanField(required=False, label="The program sets the force (FS)")
    seen = forms.IntegerField(widget=forms.HiddenInput, min_value=0)

    def values(self, before: Values) -> Values:
        """The values that were typed, or those of the file, if there is one.

        Raises:
            SettingError: one is out of its range, or the file is no machine file.
        """
        file = self.cleaned_data["file"]
        if file is not None:
            return read_values(file.read(_MOST_BYTES + 1).decode("utf-8", "replace"))
        return checked(before, **{name: self.cleaned_data[name] for name in WORDS})


def initial_of(name: str, address: str, values: Values, version: int) -> dict[str, Any]:
    """What the form of a machine begins with."""
    typed = {key: _as_typed(getattr(values, key)) for key in WORDS}
    return {"name": name, "address": address, "seen": version, **typed}


def _as_typed(value: float | bool) -> float | bool | int:
    """A number as a person would write it: 90, not 90.0."""
    return int(value) if isinstance(value, float) and value.is_integer() else value
