"""This part as Django knows it."""

from django.apps import AppConfig


class DiaryConfig(AppConfig):
    """The calendar: who and what is where on which day."""

    name = "layflat.web.diary"
    label = "diary"
