"""This part as Django knows it."""

from django.apps import AppConfig


class FitConfig(AppConfig):
    """The fit of each piece: what laying it will ask of the film."""

    name = "layflat.web.fit"
    label = "fit"
