"""Addresses of archives."""

from django.urls import path

from layflat.web.exchanging import views

app_name = "exchanging"
urlpatterns = [
    path("<int:pk>/archive/", views.give, name="give"),
    path("<int:pk>/archive/file/", views.file, name="file"),
    path("archive/", views.bring_one, name="bring"),
    path("archive/<int:pk>/", views.received, name="received"),
    path("archive/<int:pk>/key/", views.know, name="know"),
]
