"""Addresses of this part."""

from django.urls import path

from layflat.web.week import views

app_name = "week"
urlpatterns = [
    path("", views.week, name="week"),
    path("begin/", views.begin, name="begin"),
    path("<int:plan>/", views.plan, name="plan"),
    path("<int:plan>/ready/", views.ready, name="ready"),
    path("<int:plan>/keep/", views.keep, name="keep"),
    path("<int:plan>/drop/", views.drop, name="drop"),
]
