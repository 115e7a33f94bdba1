"""Where everything is. Apps are named by string, so that this package needs nothing of theirs."""

from django.urls import include, path

from portfolio import pages

urlpatterns = [path("api/v1/", include("inspections.api.urls")), *pages.urlpatterns]

handler500 = pages.handler500
