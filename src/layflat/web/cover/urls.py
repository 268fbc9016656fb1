"""Addresses of this part."""

from django.urls import URLPattern

app_name = "cover"
urlpatterns: list[URLPattern] = []
