"""This part as Django knows it."""

from django.apps import AppConfig


class CorrectionsConfig(AppConfig):
    """Corrections of a body's patterns."""

    name = "layflat.web.corrections"
    label = "corrections"
