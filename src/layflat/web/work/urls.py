"""Addresses of this part."""

from django.urls import path

from layflat.web.work import views

app_name = "work"
urlpatterns = [
    path("", views.computations, name="list"),
    path("<int:pk>/", views.progress, name="progress"),
    path("<int:pk>/stop/", views.stop, name="stop"),
]
