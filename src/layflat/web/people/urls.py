"""Addresses of signing in, people and the shop."""

from django.urls import path

from layflat.web.people import views

app_name = "people"
urlpatterns = [
    path("start/", views.first_start, name="first-start"),
    path("sign-in/", views.sign_in, name="sign-in"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("password/", views.password, name="password"),
    path("shop/", views.people, name="people"),
    path("shop/people/<int:key>/", views.person, name="person"),
]
