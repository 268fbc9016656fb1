"""Addresses of the scan bench."""

from django.urls import path

from layflat.web.scanning import views

app_name = "scanning"
_ONE = "revisions/<int:pk>/bench/"
urlpatterns = [
    path(_ONE, views.bench, name="bench"),
    path(f"{_ONE}begin/", views.begin_bench, name="begin"),
    path(f"{_ONE}step/", views.step, name="step"),
    path(f"{_ONE}stand/", views.stand, name="stand"),
    path(f"{_ONE}make/", views.make, name="make"),
    path(f"{_ONE}ready/", views.ready, name="ready"),
    path(f"{_ONE}frame.json", views.frame, name="frame"),
    path(f"{_ONE}plain.glb", views.plain, name="plain"),
    path(f"{_ONE}map.glb", views.mapped, name="map"),
]
