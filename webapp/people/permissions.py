"""Who may do what: one table of permissions by role, one of routes by permission; the rest is refused.

Roles add up. A phone is not a person: routes marked ``device`` take an enrolled phone's cookie and
nothing else, and ``open`` ones take nobody's.
"""

from __future__ import annotations

from typing import Iterable

ROLES = ("head", "planner", "agronomist", "crew_lead", "crew", "keeper")

_ALL = frozenset(ROLES)
_OFFICE = frozenset({"head", "planner", "agronomist", "keeper"})

PERMISSIONS: dict[str, frozenset[str]] = {
    "change_settings": frozenset({"head", "planner", "agronomist"}),
    "export": frozenset({"head", "planner", "agronomist"}),
    "keep_system": frozenset({"head", "keeper"}),
    "load_land": frozenset({"head", "planner", "agronomist"}),
    "load_sales": frozenset({"head", "planner"}),
    "make_outlook": frozenset({"head", "planner"}),
    "make_plan": frozenset({"head", "planner"}),
    "manage_devices": frozenset({"head", "keeper"}),
    "manage_people": frozenset({"head", "keeper"}),
    "mend_records": frozenset({"head", "planner", "agronomist"}),
    "publish_orders": frozenset({"head", "planner"}),
    "see_field": _OFFICE | {"crew_lead"},
    "see_held": frozenset({"head", "planner", "agronomist"}),
    "see_money": frozenset({"head", "planner"}),
    "see_orders": _ALL,
    "see_plan": frozenset({"head", "planner", "agronomist"}),
    "see_trail": frozenset({"head", "planner", "agronomist", "keeper"}),
}

ROUTES: dict[str, str] = {
    "account.owner": "open",
    "account.owner_now": "open",
    "account.sign_in": "open",
    "account.sign_in_now": "open",
    "account.sign_out": "open",
    "account.start": "open",
    "assets.favicon": "open",
    "assets.file": "open",
    "cutting.calendar": "see_plan",
    "cutting.make": "make_plan",
    "cutting.page": "see_plan",
    "cutting.publish": "publish_orders",
    "estate.page": "see_field",
    "export.file": "export",
    "held.aside": "mend_records",
    "held.correct": "mend_records",
    "held.doubt": "mend_records",
    "held.doubts_together": "mend_records",
    "held.file": "mend_records",
    "held.keep": "mend_records",
    "held.mend": "mend_records",
    "held.outline": "load_land",
    "held.page": "see_held",
    "held.record": "see_held",
    "held.take_out": "mend_records",
    "held.together": "mend_records",
    "held.undo": "mend_records",
    "held.walked": "load_land",
    "land.close_road": "load_land",
    "land.export": "export",
    "land.load": "load_land",
    "land.open_road": "load_land",
    "land.page": "see_field",
    "land.preview": "load_land",
    "map.data": "see_field",
    "map.page": "see_field",
    "map.script": "see_field",
    "map.table": "see_field",
    "method.page": "see_orders",
    "orders.page": "see_orders",
    "outlook.make": "make_outlook",
    "outlook.page": "see_money",
    "people.add": "manage_people",
    "people.add_phone": "manage_devices",
    "people.new_code": "manage_devices",
    "people.page": "manage_devices",
    "people.revoke_phone": "manage_devices",
    "people.roles": "manage_people",
    "phone.manifest": "open",
    "phone.release": "open",
    "phone.shell": "open",
    "phone.worker": "open",
    "plot.page": "see_field",
    "plot.photo": "see_field",
    "ripeness.page": "see_field",
    "sales.load": "load_sales",
    "sales.page": "see_money",
    "settings.change": "change_settings",
    "settings.page": "see_plan",
    "settings.preview": "change_settings",
    "sync.enrol": "open",
    "sync.pack": "device",
    "sync.photo": "device",
    "sync.records": "device",
    "today.page": "see_orders",
    "track.page": "see_field",
    "track.replay": "change_settings",
    "trail.page": "see_trail",
    "visits.page": "see_field",
    "work_state.state": "see_field",
    "work_state.stop": "make_plan",
}


def allowed(roles: Iterable[str], permission: str) -> bool:
    """Whether any of the roles has the permission; an unknown permission is nobody's."""
    return bool(PERMISSIONS.get(permission, frozenset()) & set(roles))
