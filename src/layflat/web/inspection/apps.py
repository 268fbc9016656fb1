"""This part as Django knows it."""

from django.apps import AppConfig


class InspectionConfig(AppConfig):
    """Checking by somebody who laid none of it; flags and how they ended."""

    name = "layflat.web.inspection"
    label = "inspection"
