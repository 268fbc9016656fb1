"""This part as Django knows it."""

from django.apps import AppConfig


class FindingConfig(AppConfig):
    """One box that finds jobs, customers, vehicles and lots."""

    name = "layflat.web.finding"
    label = "finding"
