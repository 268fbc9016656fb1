"""Addresses of this part."""

from django.urls import path

from layflat.web.links import shop_views, views

app_name = "links"
urlpatterns = [
    path("jobs/<str:number>/links/", shop_views.links, name="links"),
    path("jobs/<str:number>/links/make/", shop_views.make_link, name="make"),
    path("jobs/<str:number>/links/<int:link>/revoke/", shop_views.revoke_link, name="revoke"),
    path("for-you/vehicle/<str:token>/", views.warnings, name="warnings"),
    path("for-you/vehicle/<str:token>/<int:fault>/picture.jpg", views.picture, name="picture"),
]
