"""What an answer's data are too thin for, gathered from the answer itself and the land."""

from __future__ import annotations

import numpy as np

from ..answers import Answer
from ..database import Database
from ..land import service as land
from ..sentences import Sentence
from . import service, thin


def told(db: Database, answer: Answer) -> list[Sentence]:
    """Sentences about a stored answer, gravest first; empty where the data are enough."""
    _, _, seen = service.model_of(answer)
    plots = answer.meta["plots"]
    mask = seen.mask[: len(plots)]
    standing = land.plots(db).reindex(plots)
    return thin.sentences(thin.Known(
        seen.day[: len(plots)][mask], seen.n[: len(plots)][mask], seen.squares_in[: len(plots)][mask], np.sqrt(seen.known[: len(plots)][mask]), int(mask.any(axis=1).sum()), len(plots),
        sum(about["age_how"] == "unknown" for about in answer.meta["by_plot"].values()), tuple(sorted({str(v) for v in standing["variety"].dropna()})),
        bool(answer.meta["converged"]), int(answer.meta.get("fit_step", 0))))
