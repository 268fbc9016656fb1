"""Addresses of this part."""

from django.urls import path

from layflat.web.finding import views

app_name = "finding"
urlpatterns = [
    path("find/", views.find, name="find"),
    # A lot may have strokes in it.
    path("lots/<path:lot>/", views.lot, name="lot"),
]
