"""Where the pages are, without the API: a page need not wait until all of that is imported."""

from django.urls import include, path

urlpatterns = [path("", include("inspections.web.urls"))]

handler500 = "portfolio.middleware.server_error"
