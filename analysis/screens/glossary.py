"""Trade terms beside the plain words, each with its meaning in one sentence, one tap away."""

import html
from functools import cache

import streamlit as st

MEANINGS = {
    "lap": "One timed stretch at the bench: one person, one operation, one or more pieces.",
    "operation": "Making: work that changes the piece, such as sewing or gluing.",
    "inspection": "Checking: looking a piece over to see whether it is good.",
    "transport": "Walking: going and carrying, which adds nothing to the piece.",
    "delay": "Interrupted: time in which no piece moved on, such as the doorbell.",
    "setup": "Setting up: work done once a batch, whatever its size, such as warming the press.",
    "batch": "Pieces that go through the bench together, often 25 or 50.",
    "rework": "Putting right: time spent on mending a faulty piece.",
    "scrap": "Pieces lost for good.",
    "observed time": "The mean time a piece took in the laps that were used, pauses left out.",
    "rating": "How brisk the pace was against an ordinary one, in percent; 100 is ordinary.",
    "normal time": "The observed time times the rating: what the piece takes at an ordinary pace.",
    "allowance": "Time added for rest, the body's needs and small unavoidable stops.",
    "standard time": "Normal time with the allowance: what to plan with for one piece.",
    "labour cost": "Pay for the hours in a piece: time at the bench times what an hour costs.",
    "overhead": "What the shop costs whether or not anything is made, such as rent and power.",
    "contribution": "Price less what one piece more costs in itself, here its material: what it "
    "adds towards pay and overhead.",
    "break-even": "Where money in and money out are the same.",
    "payback": "How long it takes until what came in has covered what was paid.",
    "net present value": "All that a change costs and brings, added up, with later money counted "
    "for less, since money now could earn in the meantime.",
    "discount rate": "By how much money a year later is worth less than money now.",
    "percentile": "The 5th percentile is the value that 5 of 100 runs fall below.",
    "tornado chart": "Bars that show how far each assumption, moved between its likely ends, moves "
    "the answer; the widest stands on top.",
    "common random numbers": "Before and after are played through with the same luck, so that "
    "their difference comes from the change.",
    "takt time": "The working time of a week divided by the pieces wanted in it: one piece has "
    "to be finished that often, on average, to keep up.",
    "work content": "All bench time in one good piece: its operations at standard time, its share "
    "of setups, walking and putting right.",
    "bottleneck": "The step with the most work a piece for the hands or the place it needs; it "
    "sets the pace of the whole.",
    "load": "Hours needed as a share of the hours there are.",
    "station": "A tool or place that one person uses at a time, such as the press.",
    "routing": "The list of a product's operations and which must come before which.",
    "learning curve": "How the time for a piece falls as more of them are made.",
    "learning rate": "What is left of the time after doubling the pieces made; an 80 % curve "
    "takes a fifth off with each doubling.",
    "unit curve": "The learning curve of the single piece: every doubling of the pieces made "
    "takes the same share off the time of the piece.",
    "cumulative average": "The learning curve of the mean over all pieces so far, rather than of "
    "the single piece.",
    "plateau": "The part of the time that practice cannot take away; the curve levels out there.",
    "prior experience": "Pieces' worth of practice somebody brought along before the first lap.",
    "experience depreciation": "What a break takes away: after it, one works as if fewer pieces "
    "had been made.",
    "prediction interval": "The range that the next result falls in, 19 times out of 20.",
    "confidence interval": "The range that the true mean lies in, as far as the laps can tell; it "
    "holds 19 times out of 20.",
    "cost of poor quality": "What faults cost: mending, and the work and material in pieces lost.",
    "internal failure": "Faults found before the piece is sold: putting right and losing pieces. "
    "One of the trade's four kinds of quality cost, beside prevention, appraisal and external "
    "failure.",
    "appraisal": "Checking: what it takes to find faults, whether there are any or not.",
    "Pareto chart": "Causes from the dearest down, with a line that adds them up: a few of them "
    "often make most of the cost.",
    "logistic regression": "A curve for the chance of something, here of a fault, against "
    "something measured, here the pace.",
    "confounding": "Two things go together because a third moves both: a hurried person may also "
    "be the newest one.",
    "correlation": "Two things go together. Which makes which, or whether a third makes both, only "
    "a trial can tell.",
    "power": "How likely a trial of a given size is to show what it is made for; here 4 in 5.",
    "p chart": "The share of faulty pieces, one point a week, with the limits that ordinary ups "
    "and downs stay within, by how many pieces the week had.",
    "overdispersion": "Shares scatter more than they would if each piece were a draw of its own, "
    "as when batches are good or bad as a whole.",
    "negative binomial": "How many tries it takes until so many have come off, where each comes "
    "off with the same chance.",
    "indirect standardisation": "Faults beside those that the same pieces would have at "
    "everybody's mean rates, so that hard work is not held against who does it.",
    "first-pass yield": "The share of pieces that are right the first time.",
    "rolled throughput yield": "The share of pieces that go through every step without a fault.",
    "elapsed time": "Clock time from a batch's first lap to its last, nights and pauses included.",
    "attended time": "The part of the elapsed time in which somebody was at work on the batch.",
    "makespan": "The elapsed time of a plan, from the first task begun to the end of the last one, "
    "nights included.",
    "lower bound": "A time that no order of work can beat, worked out apart from any plan; where "
    "plan and bound meet, the plan is proven best.",
    "precedence": "What must be done on a piece before something else may be done on it.",
    "work in process": "Pieces begun and not yet finished, with the money that lies in them.",
    "line balance": "Sharing the operations out so that everybody has about as much work on a "
    "piece, and nobody waits for the other.",
    "individuals chart": "One point a week with the limits that ordinary ups and downs stay "
    "within; a week outside them has a reason worth finding.",
}


def beside(*terms: str) -> None:
    """A row of the trade's words for what was just said; a tap or Enter shows the meaning.

    A meaning that is open stays so when the page is drawn anew, as long as these words are an
    element of their own (not part of one whose figures change) and keep their place: what comes
    and goes above them stands in a container that is always there.
    """
    with st.container(key=f"terms {' '.join(terms)}"):
        st.html(row(terms))


@cache
def row(terms: tuple[str, ...]) -> str:
    """One element for all terms: each of Streamlit's own would cost a rerun three messages."""
    named = html.escape(f"terms {terms[0]}", quote=True)  # of one name, one is open at a time
    folded = [
        f"<details name='{named}'><summary>{html.escape(term)}</summary>"
        f"<p><b>{html.escape(term.capitalize())}</b>: {html.escape(MEANINGS[term])}</p></details>"
        for term in terms
    ]
    return f"<div class='terms'><span>In the trade:</span>{''.join(folded)}</div>"
