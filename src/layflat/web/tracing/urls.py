"""Addresses of templates by photograph."""

from django.urls import path

from layflat.web.tracing import views

app_name = "tracing"
_ONE = "photographs/<int:template>/"
urlpatterns = [
    path("<int:pk>/photographs/", views.new, name="new"),
    path("photographs/frame-<str:paper>.pdf", views.frame, name="frame"),
    path(_ONE, views.template, name="template"),
    path(f"{_ONE}anew/", views.anew, name="anew"),
    path(f"{_ONE}right/", views.right, name="right"),
    path(f"{_ONE}leave-out/", views.drop, name="drop"),
    path(f"{_ONE}keep/", views.keep, name="keep"),
    path(f"{_ONE}ready/", views.ready, name="ready"),
    path(f"{_ONE}plane.jpg", views.plane, name="plane"),
]
