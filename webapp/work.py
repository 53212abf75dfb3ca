"""What the worker process can do: the one list of job kinds, and the order of the whole loop.

Part of the edge: it only calls services, each of which stores its own answer.
"""

from __future__ import annotations

from typing import Any

from .database import Database
from .solver import Progress, no_progress


def estimates(db: Database, params: dict | None = None, progress: Progress = no_progress) -> dict[str, Any]:
    """Look for doubts, refit ripeness, then tonnage and crop from it."""
    from .crop import service as crop
    from .ripeness import doubts_service as doubts
    from .ripeness import service as ripeness
    from .survey import service as survey
    from .tonnage import service as tonnage

    survey.review(db)
    progress(0.02, "work.ripeness")
    fitted = ripeness.fit(db)
    doubts.review(db)
    progress(0.6, "work.tonnage")
    tonnage.answer(db, fresh=True)
    progress(0.8, "work.crop")
    crop.answer(db, fresh=True)
    progress(1.0, "work.done")
    return {"fit": fitted}


def cutting(db: Database, params: dict | None = None, progress: Progress = no_progress) -> dict[str, Any]:
    """Make a cutting plan; parameters ``seconds``, ``seed`` and ``who``."""
    from .cutting import service

    params = params or {}
    plan = service.make_plan(db, seconds=params.get("seconds"), seed=params.get("seed", 1), progress=progress, who=params.get("who", ""))
    return {"plan": plan}


def outlook(db: Database, params: dict | None = None, progress: Progress = no_progress) -> dict[str, Any]:
    from .outlook import service

    return {"key": service.make(db, progress)}


def replay(db: Database, params: dict | None = None, progress: Progress = no_progress) -> dict[str, Any]:
    """Make what would have been said on past days, from the records of then."""
    from .crop import track_service

    return track_service.replay(db, progress)


KINDS = {"estimates": estimates, "cutting": cutting, "outlook": outlook, "replay": replay}
