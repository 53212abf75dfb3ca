"""What waits for the office: held records to mend or set aside, doubts to settle, outlines to decide."""

from __future__ import annotations

from datetime import datetime

from flask import Blueprint, Response, g, redirect, request, url_for

from .. import clock, dictionary, jobs
from ..land import service as land
from ..problems import Problem
from ..survey import held_groups, held_service
from ..survey import service as survey
from . import held_list, record_words
from .access import db, may
from .layout import render, words
from .picture_outline import outline_picture
from .resting import known_doubts

bp = Blueprint("held", __name__)
FILE_BYTES = 32 * 1024 * 1024


@bp.get("/held")
def page(problem: Problem | None = None) -> str:
    """Everything in groups; or (``group``) the records of one group, or (``doubts``) all doubts of one kind, by pages."""
    walks = survey.walks_waiting(db())
    walked = {walk.record for walk in walks}
    groups = held_groups.grouped(row for row in survey.held(db()) if row["id"] not in walked)
    doubts = known_doubts()
    shared = {"problem": problem, "can_mend": may("mend_records"), "done": request.args.get("done", ""), "plot_names": land.called(db()),
              "came": {name: request.args.get(name, 0, type=int) for name in ("kept", "already", "waiting", "n")},
              **{name: getattr(held_list, name) for name in ("around", "for_input", "kind_of", "name_of", "proposal_words", "told")}}
    one = next((group for group in groups if group.key == request.values.get("group", "")), None)
    if one is not None:
        return render("held_group.html", title=held_list.name_of(one), one=one, shown=held_list.part(one.rows, held_list.A_PAGE, group=one.key), **shared)
    of_kind = [d for d in doubts if d["code"] == request.values.get("doubts", "")]
    if of_kind:
        code = of_kind[0]["code"]
        return render("held_kind.html", title=words(f"survey.doubt.{code}.name", n=len(of_kind)), code=code, shown=held_list.part(of_kind, held_list.A_PAGE, doubts=code), **shared)
    waiting = land.waiting(db())
    outlines = {"waiting": held_list.part(waiting, held_list.A_PAGE, outlines="all") if request.values.get("outlines") else held_list.part(waiting[:held_list.OUTLINES_AT_ONCE], held_list.OUTLINES_AT_ONCE), "n_outlines": len(waiting),
                "open_outlines": len(waiting) + len(walks) <= 2,
                "plot_codes": set(land.plots(db()).index)}
    if request.values.get("outlines") and waiting:
        return render("held_outlines.html", title=words("pages.held.outlines_n", n=len(waiting)), **outlines, **shared)
    n = {"held": sum(len(group.rows) for group in groups), "doubts": len(doubts), "waiting": len(waiting) + len(walks)}
    return render("held.html", title=_title(**n), counts=list(zip(("records", "doubts", "outlines"), n.values())), groups=held_list.part(groups, held_list.GROUPS_AT_ONCE), kinds=held_list.kinds_of(doubts),
                  walks=walks, pictures={walk.record: _picture(walk) for walk in walks}, **outlines, **shared)


def _title(**counts: int) -> str:
    """How much waits, each kind that there is."""
    parts = [words(f"pages.held.n_{kind}", n=n) for kind, n in counts.items() if n]
    return words("pages.held.title", n=sum(counts.values()), parts=parts) if parts else words("pages.held.title_none")


def _picture(walk) -> str:
    title = words("pages.walk.picture", plot=walk.name)
    desc = words("pages.walk.picture_desc", new_ha=walk.area_ha, n=len(walk.crossings), beside=", ".join(walk.neighbours) or "–")
    return outline_picture(f"walk-{walk.record}-picture", walk.drawn, walk.old, walk.neighbours, walk.names_at, walk.crossings, title, desc, words("pages.walk.north"))


@bp.post("/held/file")
def file() -> Response | tuple[str, int]:
    """Records of a file: what a phone saved as a last resort, or a sheet somebody typed. Loading twice doubles nothing."""
    sent = request.files.get("file")
    try:
        if sent is None or not sent.filename:
            raise Problem("no_file", where="file")
        report = survey.load_file(db(), sent.read(FILE_BYTES + 1), sent.filename, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    jobs.ask(db(), "estimates", g.person.name)
    return redirect(url_for("held.page", done="file", kept=report.kept, already=report.already, waiting=report.held), 303)


def _after(done: str, **more: int) -> Response:
    """Back to where it was answered: to the group or the kind of doubt while any of it waits, else to all that waits; or to the plot whose page led here, which says what changed."""
    jobs.ask(db(), "estimates", g.person.name)
    form = request.form
    plot = form.get("back_to", "")
    if plot and plot in land.plots(db()).index:
        return redirect(url_for("plot.page", code=plot, _anchor="changed"), 303)
    if form.get("group") or form.get("doubts"):
        here = {name: form[name] for name in ("group", "doubts", "page") if form.get(name)}
        return redirect(url_for("held.page", done=done, **here, **more), 303)
    kind = form.get("open", "")
    return redirect(url_for("held.page", done=done, **({"open": kind, "_anchor": f"doubts-{kind}"} if kind else {}), **more), 303)


@bp.post("/held/<record>/mend")
def mend(record: str) -> Response | tuple[str, int]:
    """Only fields whose text changed are mended; the record as it came stays in the log."""
    fields = {name[2:]: value for name, value in request.form.items() if name.startswith("f.") and value != request.form.get("was." + name[2:], "")}
    try:
        survey.mend(db(), record, fields, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _after("mended")


@bp.post("/held/together/<key>/<action>")
def together(key: str, action: str) -> Response | tuple[str, int]:
    """One decision for a whole group: take what is proposed (``propose``), ``move`` all in time, give all their ``plot``, ``accept`` them as they came, set all ``aside``."""
    who, form = g.person.name, request.form
    acts = {"propose": lambda: held_service.take_proposals(db(), key, who), "move": lambda: held_service.move(db(), key, form.get("begins", ""), who),
            "plot": lambda: held_service.name_plot(db(), key, form.get("plot", ""), who), "accept": lambda: held_service.accept(db(), key, who),
            "aside": lambda: held_service.set_aside(db(), key, who, form.get("why", ""))}
    try:
        if action not in acts:
            raise Problem("record_not_waiting", where=action, status=404)
        n = acts[action]()
    except Problem as problem:
        return page(problem), problem.status
    return _after("together", n=n)


@bp.post("/doubts/<code>/all/<answer>")
def doubts_together(code: str, answer: str) -> Response | tuple[str, int]:
    """One answer to all doubts of a kind that the page showed; where one of them can't take it, the others have it and the page says why."""
    first, last = (request.form.get(name, 0, type=int) for name in ("first", "last"))
    n, refused = held_service.settle_doubts(db(), code, answer, first, last, g.person.name)
    if refused:
        jobs.ask(db(), "estimates", g.person.name)
        return page(refused[0]), refused[0].status
    return _after("together", n=n)


@bp.post("/held/<record>/keep")
def keep(record: str) -> Response | tuple[str, int]:
    try:
        survey.accept(db(), record, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _after("kept")


@bp.post("/held/<record>/aside")
def aside(record: str) -> Response | tuple[str, int]:
    try:
        survey.set_aside(db(), record, g.person.name, request.form.get("why", ""))
    except Problem as problem:
        return page(problem), problem.status
    return _after("aside")


@bp.post("/doubts/<int:doubt>/<answer>")
def doubt(doubt: int, answer: str) -> Response | tuple[str, int]:
    """``take`` the proposal, or ``leave`` the record as it is."""
    try:
        survey.settle_doubt(db(), doubt, answer, g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _after(answer)


@bp.post("/outlines/<int:waiting>/<action>")
def outline(waiting: int, action: str) -> Response | tuple[str, int]:
    try:
        land.settle_waiting(db(), waiting, g.person.name, action, code=request.form.get("code", ""))
    except Problem as problem:
        return page(problem), problem.status
    return _after(action)


@bp.post("/walked/<record>/<action>")
def walked(record: str, action: str) -> Response | tuple[str, int]:
    """A walked outline: ``replace`` the plot's, make a ``new`` plot of it, or set it ``aside``."""
    try:
        if action == "replace":
            survey.replace_by_walk(db(), record, g.person.name)
        elif action == "new":
            survey.take_new_land(db(), record, request.form.get("code", ""), g.person.name)
        else:
            survey.set_walk_aside(db(), record, request.form.get("why", ""), g.person.name)
    except Problem as problem:
        return page(problem), problem.status
    return _after(action)


@bp.get("/records/<record>", endpoint="record")
def show_record(record: str, problem: Problem | None = None) -> str:
    """One record's history, the same on the page of every record of its chain: as it came, what replaced or voided it and why, what counts now; and the way back from a correction."""
    steps = record_words.steps_told(survey.record_history(db(), record))
    fields, can_mend = record_words.now_of(steps, record), may("mend_records")
    kind = fields["kind"] if fields and fields.get("kind") in dictionary.kinds() else ""
    undo = survey.undoable(db(), record) if can_mend else None
    return render("record.html", title=_record_title(steps, record), steps=steps, record=record, problem=problem, kind=kind, counts=record_words.counted_now(steps), again=undo and record_words.again(undo), undo=undo,
                  fields=survey.editable(db(), record) if can_mend else [], back_to=request.values.get("plot", "") or request.form.get("back_to", ""), plot=fields.get("plot") if fields else None)


def _record_title(steps: list[dict], record: str) -> str:
    """What the record is, of which plot and day, as it reads now; of one that can't be read its identifier."""
    fields = record_words.now_of(steps, record)
    if fields is None or fields.get("kind") not in dictionary.kinds() or not fields.get("plot"):
        return words("pages.record.title", record=record[:13])
    try:
        day = datetime.fromisoformat(str(fields["taken_at"]).replace("Z", "+00:00")).astimezone(clock.of(db()).zone).date()
    except (KeyError, ValueError, OverflowError):
        day = None
    return words("pages.record.title_of" if day else "pages.record.title_undated", kind=dictionary.kinds()[fields["kind"]].label[g.language], plot=land.called(db()).get(fields["plot"], fields["plot"]), day=day)


@bp.post("/records/<record>/correct")
def correct(record: str) -> Response | tuple[str, int]:
    """A correction by the office takes the record's place; only fields whose text changed count."""
    fields = {name[2:]: value for name, value in request.form.items() if name.startswith("f.") and value != request.form.get("was." + name[2:], "")}
    try:
        survey.correct(db(), record, fields, g.person.name)
    except Problem as refused:
        return show_record(record, refused), refused.status
    return _after("mended")


@bp.post("/records/<record>/take-out")
def take_out(record: str) -> Response | tuple[str, int]:
    try:
        survey.take_out(db(), record, g.person.name, request.form.get("why", ""))
    except Problem as refused:
        return show_record(record, refused), refused.status
    return _after("aside")


@bp.post("/records/<record>/undo")
def undo(record: str) -> Response | tuple[str, int]:
    """Void a correction: what it replaced counts again, and its page is where this leads unless a plot's page led here."""
    try:
        again = survey.undo(db(), record, g.person.name, request.form.get("why", ""))
    except Problem as refused:
        return show_record(record, refused), refused.status
    back = _after("undone")
    return back if request.form.get("back_to") else redirect(url_for("held.record", record=again), 303)
