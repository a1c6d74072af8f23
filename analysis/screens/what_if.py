"""What if: a helper, a machine, a move, other demand, or several at once: would it pay?

A first answer is there at once, from few runs; a thread makes better ones (what_if_jobs.py) while a
line shows how far it is. What is asked stands in a list of named scenarios (what_if_drafts.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import streamlit as st

from analysis.problems import BadInput, Fault, Problem
from analysis.records.scenario import Scenario
from analysis.screens import (
    answers,
    glossary,
    parts,
    what_if_form,
    what_if_jobs,
    what_if_more,
    what_if_told,
    words,
)
from analysis.screens import what_if_fields as fields
from analysis.screens.what_if_drafts import (
    Drafts,
    Known,
    Path,
    Read,
    begun,
    read,
    renamed,
    samples,
    value_at,
)

if TYPE_CHECKING:
    from analysis.decisions.answer import Answer
    from analysis.decisions.shop_model import ShopModel

TRADE = ("payback", "net present value", "break-even", "contribution", "learning rate")
LOOK_EVERY_SECONDS = 0.7
ANSWER, CHANGE, BESIDE, FILES = "The answer", "Change it", "Side by side", "Memo and files"


@dataclass(frozen=True)
class Seen:
    """The page: its desk, the list of drafts, and what each of them asks."""

    desk: answers.Desk
    drafts: Drafts
    known: Known
    model: ShopModel
    currency: str

    def read(self, key: str) -> Read:
        """A draft read and checked, by the name the list shows."""
        tables, name = self.drafts.all[key], self.drafts.name(key)
        return self.desk.kept(
            "what if read", (repr(tables), name), lambda: renamed(read(tables, self.model), name)
        )

    def job(self, found: Read) -> what_if_jobs.Job:
        """The answering of a scenario, begun if nobody has asked before."""
        assert found.scenario is not None  # a draft with faults is mended first
        name = self.job_name(found)
        return what_if_jobs.jobs().of(name, self.model, found.scenario, self.currency)

    def answered(self, found: Read, job: what_if_jobs.Job) -> tuple[Answer, tuple] | None:
        """The answer so far, figures that nobody has set marked in it, and what tells it apart."""
        if job.answered is None or found.scenario is None:
            return None
        from analysis.decisions.proposed import with_proposed

        answer, number = job.answered
        return with_proposed(answer, found.scenario, found.proposed), (number, *found.proposed)

    def job_name(self, found: Read) -> tuple:
        """What an answer hangs on: the shop's records and the question."""
        return (self.desk.here.store.url, self.desk.version, found.text)


def show() -> None:
    """The list of scenarios, the answer to the open one, and the parts below."""
    desk = answers.opened("What if", "what a helper, a machine or a move would yield")
    if desk is None:
        return
    model = desk.kept("what if model", (), lambda: _model(desk))
    if isinstance(model, Problem):
        _cannot(model)
        return
    known = desk.kept("what if known", (), lambda: _known(desk, model))
    at_first = samples if desk.here.is_demo else lambda: [begun("helper", known)]
    drafts = Drafts(desk.here, at_first)
    seen = Seen(desk, drafts, known, model, desk.settings[0].currency)
    _choose(drafts)
    found = seen.read(drafts.open)
    job = _answer(seen, found, found.scenario) if found.scenario else None
    if job is None:
        _to_mend(found.faults, seen.currency)
    draw = {
        ANSWER: lambda: _details(seen, found, job),
        CHANGE: lambda: what_if_form.form(drafts, known, seen.currency, found.faults),
        BESIDE: lambda: what_if_more.side_by_side(seen),
        FILES: lambda: what_if_more.files(seen, found, job),
    }
    parts.draw_open_tab(draw, "what_if_part")


# --- what must be known first ---


def _model(desk: answers.Desk) -> ShopModel | Problem:
    """The shop that is simulated, or what is missing for it."""
    from analysis.decisions.model_of import model_of
    from analysis.decisions.priced import check_priced

    shop, routing = desk.settings
    try:
        if routing is None or not len(routing):
            return Problem("the shop has no route yet")
        check_priced(shop)
        return model_of(desk.figures, routing, shop)
    except Problem as problem:
        return problem


def _cannot(problem: Problem) -> None:
    """What the shop has not said yet, and where to say it."""
    said = str(problem)
    lines = [said[:1].upper() + said[1:]]
    if isinstance(problem, BadInput):
        lines = [_missing(fault) for fault in problem.faults]
    st.info(
        "Whether a helper, a machine or a move pays needs a few figures that only you know. "
        "Next step: give them on **Shop**; or look around in the demo (choose *Demo bindery* at "
        "the side)."
    )
    answers.points(words.plain(line) for line in lines)
    parts.screen_link("shop", "Give them on Shop")


def _missing(fault: Fault) -> str:
    """`Pocket notebook has no price: …`, without the file's own words."""
    what = fault.column.removeprefix("products.").replace(".variants.", ", ")
    if what == "products":
        return "It is not known how many pieces are asked for in a week: Shop, Products."
    return f"{what}: what a piece is sold for (Shop, Products)."


def _known(desk: answers.Desk, model: ShopModel) -> Known:
    """What the form offers, from the shop and its route."""
    shop, _ = desk.settings
    operations = dict.fromkeys(step.operation for line in model.lines for step in line.steps)
    wages = [worker.cost_per_hour for worker in shop.workers if worker.cost_per_hour is not None]
    return Known(
        operations=tuple(operations),
        stations=tuple(model.stations),
        products=tuple(dict.fromkeys(line.product for line in model.lines)),
        fullest=_fullest(desk, model),
        wage=min(wages, default=None),
    )


def _fullest(desk: answers.Desk, model: ShopModel) -> str:
    """The operation that takes most hours of a week, at what is asked for."""
    asked: dict[str, float] = {}
    for line in model.lines:
        asked[line.product] = asked.get(line.product, 0.0) + line.demand_per_week
    content = desk.figures.content
    hours = content["total_seconds"] * content["share"] * content["product"].map(asked).fillna(0.0)
    sums = hours.groupby(content["operation"].astype(str)).sum()
    known = {step.operation for line in model.lines for step in line.steps}
    sums = sums[sums.index.isin(known)]
    return str(sums.idxmax()) if len(sums) and sums.max() > 0 else sorted(known)[0]


# --- the answer ---


def _choose(drafts: Drafts) -> None:
    """The scenarios by name, and the undo of a removal."""
    key = "what_if_chosen"
    st.session_state[key] = drafts.open
    st.selectbox(
        "What if …", list(drafts.all), format_func=drafts.name, key=key,
        on_change=lambda: drafts.turn_to(st.session_state[key]), width=430,
    )  # fmt: skip
    if drafts.removed_name:
        st.button(
            f"Bring back “{words.plain(drafts.removed_name)}”", icon=":material/undo:",
            key="what_if_undo", on_click=drafts.put_back,
        )  # fmt: skip


def _to_mend(faults: dict[Path, Fault], currency: str) -> None:
    """Instead of an answer: what is wrong or still to fill in."""
    asked = all(_only_missing(fault) for fault in faults.values())
    start = "One thing more" if asked else "This does not fit together yet"
    if len(faults) > 1:
        start = f"{words.count(len(faults), 'thing')} more" if asked else start
    answers.answer(f"{start}:", [_located(path, f, currency) for path, f in faults.items()])
    if any(path[-1] == "cost_per_hour" for path in faults):
        parts.screen_link("shop", "The wages of your people stand on Shop, People")


def _only_missing(fault: Fault) -> bool:
    return fault.problem == "is not filled in" or fault.problem.startswith("has no ")


def _located(path: Path, fault: Fault, currency: str) -> str:
    """A fault with its part of the form and its field."""
    part = "orders" if "orders" in path else path[0]
    listed = fields.fields_of(part, currency) if part in FORM_NAMES else ()
    field = next((field for field in listed if field.key == path[-1]), None)
    if field is None:
        remedy = f": {fault.remedy}" if fault.remedy else ""
        return words.plain(f"{'.'.join(map(str, path))} {fault.problem}{remedy}")
    return f"*{CHANGE}*, *{FORM_NAMES[part]}*, {what_if_form.said(field, fault)}"


FORM_NAMES = {
    "helper": "Helper", "equipment": "Machine", "move": "Move", "demand": "Demand",
    "orders": "Demand", "scenario": what_if_form.TIME,
}  # fmt: skip


def _answer(seen: Seen, found: Read, scenario: Scenario) -> what_if_jobs.Job:
    """The question and its answer as far as it is known, and how far the runs are."""
    job = seen.job(found)
    if job.answered is None:
        job.first.wait(what_if_jobs.FIRST_WAIT_SECONDS)
    if job.problem:
        answers.answer("This cannot be worked out:", [words.plain(job.problem)])
        return job
    if job.answered is None:
        answers.answer("The first runs are being made …")
        _watch(seen, job, 0)
        return job
    answer, mark = job.answered
    first = answer.runs < what_if_jobs.MORE_RUNS and not job.over.is_set()
    said = seen.desk.kept("what if said", (mark, first), lambda: (
        what_if_told.headline(answer, first), what_if_told.points(answer),
        what_if_told.asked(scenario, seen.currency)))  # fmt: skip
    answers.answer(said[0], said[1])
    st.caption(said[2] + _not_set(seen, found.proposed))
    # Always there, also when empty: what stands below keeps its place, and what a reader has
    # unfolded there stays so.
    with st.container(key="what_if_runs"):
        if not job.over.is_set():
            _watch(seen, job, answer.runs)
        elif job.stopped and (answer.runs < what_if_jobs.ALL_RUNS or not answer.searched):
            _stopped(seen, found, answer)
    return job


def _not_set(seen: Seen, paths: tuple[Path, ...]) -> str:
    """Which figures of the question the program proposed, in the words of the form."""
    if not paths:
        return ""
    tables, told = seen.drafts.all[seen.drafts.open], []
    for path in paths:
        listed = fields.fields_of(str(path[0]), seen.currency)
        field = next(field for field in listed if field.key == path[-1])
        shown = fields.shown(field, value_at(tables, path))
        figure = words.number(shown) if isinstance(shown, int | float) else shown
        told.append(f"{field.label}: {figure}")
    return f" **Proposed, yours to set** under *{CHANGE}*: {words.plain('; '.join(told))}."


@st.fragment(run_every=LOOK_EVERY_SECONDS)
def _watch(seen: Seen, job: what_if_jobs.Job, runs: int) -> None:
    """How far it is and the estimate so far; a better answer draws the page anew."""
    job.asked()
    if job.over.is_set() or (job.answer is not None and job.answer.runs > runs):
        st.rerun()
    with st.container(horizontal=True, vertical_alignment="center", key="what_if_progress"):
        st.caption(_progress_words(job, seen.currency), width="stretch")
        if st.button("Stop here", key="what_if_stop"):
            job.stop()


def _progress_words(job: what_if_jobs.Job, currency: str) -> str:
    """`An answer from 8 runs so far; getting surer: 56 of 200 runs changed …`

    The money so far stands there only where no answer does: two figures for one would contradict
    each other.
    """
    start = f"An answer from {words.count(job.answer.runs, 'run')} so far" if job.answer else (
        "Your shop is played through for the first time")  # fmt: skip
    so_far = job.so_far
    if so_far is not None and so_far.other_values and job.answer:
        return words.plain(
            f"{start}; now played through again at other values, to see what turns it: "
            f"{so_far.other_values} so far …"
        )
    if so_far is None or (job.answer and so_far.runs_wanted <= job.answer.runs):
        return f"{start}; getting surer …" if job.answer else f"{start} …"
    what = "as it is" if not so_far.scenario else "changed"
    line = f"{start}; getting surer: {so_far.runs_done} of {so_far.runs_wanted} runs {what}"
    worth = so_far.net_present_value
    if worth is not None and not job.answer:
        kind = "gain" if worth.mean >= 0 else "loss"
        line += f", so far a {kind} of {what_if_told.amount(abs(worth.mean), currency)}"
    return words.plain(f"{line} …")


def _stopped(seen: Seen, found: Read, answer: Answer) -> None:
    with st.container(horizontal=True, vertical_alignment="center"):
        st.caption(
            f"Stopped: this rests on {words.count(answer.runs, 'run')} instead of "
            f"{words.number(what_if_jobs.ALL_RUNS)}, and is less sure for it."
            + ("" if answer.searched else " What moves it was not played through."),
            width="stretch",
        )
        st.button(
            "Go on", key="what_if_again",
            on_click=what_if_jobs.jobs().again, args=(seen.job_name(found),),
        )  # fmt: skip


def _details(seen: Seen, found: Read, job: what_if_jobs.Job | None) -> None:
    """More of the answer, chart, tables, what would have to be true, what moves it."""
    answered = seen.answered(found, job) if job is not None else None
    if answered is None:
        st.caption(f"What is asked is filled in under *{CHANGE}*." if job is None else "")
        return
    answer, mark = answered
    kept = seen.desk.kept
    answers.points(kept("what if more", mark, lambda: what_if_told.more_points(answer)))
    what_if_more.main_picture(seen.desk, mark, answer)
    glossary.beside(*TRADE)
    table = kept("what if table", mark, lambda: what_if_told.table(answer))
    answers.table(table, "what_if", "An average week before, after, and the difference")
    st.caption(what_if_told.LEFT_IS_LESS)
    what_if_more.bill(seen.desk, mark, answer)
    true, moves, cautions = kept("what if told", mark, lambda: _told(answer))
    st.markdown(true)
    st.markdown(moves)
    what_if_more.movers_picture(seen.desk, mark, answer)
    st.markdown(cautions)
    what_if_more.rests_on(seen.desk, mark, answer)
    with st.expander("How this was worked out", key="what_if_worked_out"):
        st.markdown(what_if_more.WORKED_OUT)
        what_if_more.in_full(seen.desk, mark, answer)


def _told(answer: Answer) -> tuple[str, str, str]:
    """What follows the table: what would have to be true, what moves the answer, cautions."""
    cautions = "\n".join(f"- {words.plain(line)}" for line in answer.cautions)
    cautions = f"**{answer.cautions_heading}**\n\n{cautions}"
    if not answer.searched:
        return what_if_told.runs_line(answer), what_if_told.STILL_PLAYED, cautions
    true = "\n\n".join((
        what_if_told.runs_line(answer),
        "**What would have to be true**, one thing at a time, for the average of all runs\n\n"
        + "\n".join(f"- {line}" for line in what_if_told.must_be_true(answer)),
        "**What would settle it**\n\n" + what_if_told.settle(answer),
    ))  # fmt: skip
    moves = "\n".join(f"- {line}" for line in what_if_told.movers(answer))
    still = what_if_told.unmoving(answer)
    return (
        true,
        "**What moves the answer**\n\n"
        f"{moves or 'Nothing moves it by more than chance does.'}{still}",
        cautions,
    )
