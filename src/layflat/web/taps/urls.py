"""The address of taps: forms go there; looked at, it shows what did not go in."""

from django.urls import path

from layflat.web.taps import views

app_name = "taps"
urlpatterns = [
    path("taps/", views.taps, name="tap"),
    path("taps/", views.taps, name="list"),
    path("taps/<int:pk>/settled/", views.settle, name="settle"),
]
