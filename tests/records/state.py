"""All that a load could change, as one comparable value."""

from __future__ import annotations

from django.apps import apps

Snapshot = dict[str, list[tuple[object, ...]]]


def everything(*, except_loads: bool = False) -> Snapshot:
    """Every row of every table of both apps."""
    models = [
        *apps.get_app_config("portfolio").get_models(),
        *apps.get_app_config("inspections").get_models(),
    ]
    return {
        model.__name__: sorted(model._default_manager.values_list(), key=repr)
        for model in models
        if not (except_loads and model.__name__ == "Load")
    }
