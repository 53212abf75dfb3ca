"""What an answer's data are too thin for, gathered from the answer itself and the land."""

from __future__ import annotations

from dataclasses import replace
from typing import Sequence

import numpy as np

from ..answers import Answer
from ..database import Database
from ..land import service as land
from ..sentences import Sentence
from . import service, thin
from .visits import Visits


def told(db: Database, answer: Answer, code: str | None = None) -> list[Sentence]:
    """Sentences about a stored answer, gravest first; empty where the data are enough. For one plot's page (``code``) what is wrong
    with other plots' visits and ages is left out; what the whole estate lacks concerns it too."""
    _, _, seen = service.model_of(answer)
    plots = answer.meta["plots"]
    standing = land.plots(db).reindex(plots)
    whole = _known(answer, seen, range(len(plots)), tuple(sorted({str(v) for v in standing["variety"].dropna()})))
    if code is None:
        return thin.sentences(whole)
    at = [plots.index(code)] if code in plots else []
    own = _known(answer, seen, at, whole.varieties)
    return thin.sentences(replace(whole, undated=0), own)


def _known(answer: Answer, seen: Visits, at: Sequence[int], varieties: tuple[str, ...]) -> thin.Known:
    plots = [answer.meta["plots"][i] for i in at]
    mask, at = seen.counts[list(at)], list(at)
    return thin.Known(
        seen.day[at][mask], seen.n[at][mask], seen.squares_in[at][mask], np.sqrt(np.where(seen.alike > 0, 0.0, seen.known)[at][mask]), int(mask.any(axis=1).sum()), len(plots),
        sum(answer.meta["by_plot"][plot]["age_how"] == "unknown" for plot in plots), varieties, bool(answer.meta["converged"]), int(answer.meta.get("fit_step", 0)),
        sum(answer.meta["by_plot"][plot].get("n_doubted", 0) for plot in plots), int((seen.alike[at][mask] > 0).sum()))
