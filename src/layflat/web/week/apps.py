"""This part as Django knows it."""

from django.apps import AppConfig


class WeekConfig(AppConfig):
    """The week's film in one plan: several jobs, rolls and offcuts."""

    name = "layflat.web.week"
    label = "week"
