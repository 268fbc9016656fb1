"""This part as Django knows it."""

from django.apps import AppConfig


class LayingConfig(AppConfig):
    """Laying the pieces: who, how long, what was hard."""

    name = "layflat.web.laying"
    label = "laying"
