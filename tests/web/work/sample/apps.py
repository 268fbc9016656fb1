from django.apps import AppConfig


class SampleConfig(AppConfig):
    name = "web.work.sample"
    label = "sample"
