"""The edge to browsers: thin blueprints, one per noun; rules live in the services."""

from __future__ import annotations

from importlib import import_module

BLUEPRINTS = ("assets", "account", "phone", "sync", "today", "estate", "map", "ripeness", "visits", "plot", "held", "cutting", "orders", "outlook", "track", "sales", "land",
              "people", "settings", "method", "trail", "export", "work_state")


def register(app) -> None:
    """Put access rules, error answers and every noun's pages on the app."""
    from . import access, errors, layout

    access.identify(app)  # who, then in which language, then whether they may: a refusal speaks the person's language
    layout.prepare(app)
    access.guard(app)
    errors.answer_with_problems(app)
    for name in BLUEPRINTS:
        app.register_blueprint(import_module(f"{__name__}.{name}").bp)
