"""This part as Django knows it."""

from django.apps import AppConfig


class GatesConfig(AppConfig):
    """The steps of a job in order, their timers, tools and cloths."""

    name = "layflat.web.gates"
    label = "gates"
