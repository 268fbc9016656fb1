"""Django's entry to this part."""

from django.apps import AppConfig


class FilesConfig(AppConfig):
    """Scans, photographs and papers, each kept once under the hash of its contents."""

    name = "layflat.web.files"
    label = "files"
