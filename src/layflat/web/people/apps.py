"""Django's entry to this part."""

from django.apps import AppConfig


class PeopleConfig(AppConfig):
    """People of the shop, what each may do, and the shop itself."""

    name = "layflat.web.people"
    label = "people"
