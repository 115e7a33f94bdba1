from django.apps import AppConfig


class PortfolioConfig(AppConfig):
    name = "portfolio"
    verbose_name = "What stands there"
    default_auto_field = "django.db.models.BigAutoField"
