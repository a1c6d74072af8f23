// A question about the lap just kept. It stands over the figures, never over a button, and may be
// left unanswered: the next lap takes it away, and "Last laps" can still set it right.

import { byId, element } from "./dom.js";
import { number, timeOfDay } from "./figures.js";
import { laps, noted, span } from "./words.js";

export function showAsk(app, lane) {
  const box = byId("ask");
  const ask = lane.asks[0];
  const shown = ask ? JSON.stringify([app.state.active, ask]) : "";
  box.hidden = !ask;
  if (box.dataset.shown === shown) return;
  box.dataset.shown = shown;
  if (!ask) return box.replaceChildren();
  const { question, answers, undo = false } = ASKS[ask.kind](app, lane, ask);
  const close = element("button", {
    type: "button",
    text: "×",
    "aria-label": "No answer",
    onclick: () => app.lane("dismiss"),
  });
  const buttons = answers.map(([text, onclick]) =>
    element("button", { type: "button", text, onclick }),
  );
  const takeBack = { type: "button", text: "Undo", onclick: () => app.lane("undo") };
  box.replaceChildren(
    element("p", { text: question }),
    element("div", { class: "line-end" }, undo && element("button", takeBack), close),
    element("div", { class: "answers" }, ...buttons),
  );
}

const ASKS = { over: overFull, cause, noted: notedOnly, half, fault, tray, away, switched };

function cause(app, lane, { lap_id, mark, piece, seconds, again }) {
  const isPiece = mark === "rework" || mark === "scrap";
  const side = mark === "delay" ? `Interruption of ${span(seconds)}.` : "Put right.";
  const known = app.catalogue.causes
    .slice(0, 8)
    .map((word) => [word, () => app.lane("answer", { fields: { cause: word } })]);
  const other = ["Other…", () => app.sheets.cause(lap_id)];
  const question = `${isPiece ? noted(piece, mark, again) : side} Why?`;
  return { question, answers: [...known, other], undo: isPiece };
}

/** A tap that came too soon after a marked piece, whose cause is answered already. */
function notedOnly(app, lane, { piece, mark, again }) {
  return { question: noted(piece, mark, again), answers: [], undo: true };
}

function overFull(app, lane, { over, most }) {
  const answers = [
    [`Batch ${app.catalogue.nextBatch} began`, () => app.lane("nextBatch", { over })],
    [`Batch ${lane.batch} has more`, () => app.sheets.batchSize()],
  ];
  return { question: `Piece ${number(most + over)}, but batch ${lane.batch} has ${number(most)}.`, answers };
}

function half(app, lane, { way }) {
  const other = way === "A" ? "B" : "A";
  const answers = [
    [`Go on with ${other}`, () => app.lane("otherWay")],
    [`Stay with ${way}`, () => app.lane("dismiss")],
  ];
  return { question: `Half the batch is done. Change to way ${other} now?`, answers };
}

function fault(app, lane) {
  const names = app.catalogue.operations(lane.product).map((row) => row.operation);
  const here = names.filter((name) => name === lane.operation);
  const before = names.slice(0, Math.max(0, names.indexOf(lane.operation))).reverse();
  const order = [...new Set([...here, ...before, ...names])];
  const answers = order.map((name) => [
    name,
    () => app.lane("answer", { fields: { cause_operation: name } }),
  ]);
  return { question: "Fixed. Where did the fault come from?", answers };
}

function tray(app, lane, { lap_id, units }) {
  const answers = [
    [`All ${number(units)} good`, () => app.lane("dismiss")],
    ["Count: done, fixed, lost", () => app.sheets.trayCount(lap_id, units)],
  ];
  return { question: `${number(units)} done in one go. All good?`, answers };
}

function away(app, lane, { lap_id, usual, seconds }) {
  const yes = () => app.lane("away", { lapId: lap_id, keptSeconds: usual });
  const answers = [
    [`Yes, ${span(seconds - usual)} away`, yes],
    ["No, it took that long", () => app.lane("dismiss")],
  ];
  return { question: `${span(seconds)}, usually ${span(usual)}. Were you away?`, answers };
}

function switched(app, lane, { lap, since }) {
  const at = (start) => timeOfDay(app.clock.toWall(start));
  const answers = [];
  if (lap) answers.push([`No: a finished ${lap.operation} piece`, () => app.lane("wasPiece")]);
  if (since) {
    const fields = { operation: lane.operation };
    const mend = () => app.lane("since", { fromLapId: since.id, fields });
    answers.push([
      `All since ${at(since.start)} was ${lane.operation} (${laps(since.count)})`,
      mend,
    ]);
    answers.push(["Since another hour…", () => app.sheets.forgotten()]);
  }
  const moved = lap
    ? `The ${span(lap.seconds)} since ${at(lap.start)} go to ${lane.operation}.`
    : "";
  return { question: moved || `Now ${lane.operation}. Was the switch forgotten?`, answers };
}
