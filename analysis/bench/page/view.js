// The main screen: shows the state, computes nothing that a lap depends on.

import { quantity } from "./catalogue.js";
import { byId, element, setText, showChips } from "./dom.js";
import { dryingGroups } from "./drying.js";
import { number, timeOfDay } from "./figures.js";
import { PACE_SHAPE, paceState, paceWords } from "./pace.js";
import { elapsedMs, isPaused, isSide } from "./running.js";
import { operationKey, unitsATap } from "./state.js";
import { MIXED, plain, usualSeconds } from "./tapping.js";
import { median, paceOf, piecesDone, piecesMarked } from "./tally.js";
import { clockTime, laps, marksOf, pieces, span } from "./words.js";
import { showAsk } from "./asks.js";

export const OTHER = " other"; // the chip that asks for a new name; no name begins with a blank
const WITHOUT_ANSWER = { connecting: "○ connecting…", offline: "○ no server" };
const SIDE_WORDS = {
  setup: "Setup",
  transport: "Walk",
  delay: "Interruption",
  rework: "Putting right",
};

/** Everything but the running figures; called after each step that was kept. */
export function render(app) {
  const { state } = app;
  const lane = state.lanes[state.active];
  showHead(app, lane);
  showBanner(app);
  showNext(app, lane);
  showRoute(app, lane);
  showVariants(app, lane);
  showWays(app, lane);
  showFigures(app, lane);
  showAsk(app, lane);
  showRows(lane);
  showTargets(app);
  tick(app);
}

/** The running figures, several times a second. */
export function tick(app) {
  const now = app.clock.now();
  showDrying(app, now);
  app.state.lanes.forEach((lane, k) => showRunning(app, lane, byId("targets").children[k], now));
}

function showHead(app, lane) {
  setTwoLines(byId("who"), "who", `${lane.worker}\u00a0▾`);
  const batch = lane.batch ? `batch ${lane.batch}` : "no batch yet";
  setTwoLines(
    byId("work"),
    lane.product ? batch : "what",
    lane.product ? `${lane.product}\u00a0▾` : "pick the work\u00a0▾",
  );
  const queue = byId("queue");
  setTwoLines(queue, "My workshop", queueWords(app));
  queue.classList.toggle("waiting", app.counts.waiting > 0);
  queue.classList.toggle("stuck", app.counts.refused > 0 || app.status === "not paired");
}

/** A small line above what matters. */
function setTwoLines(node, above, words) {
  if (!node.firstChild) node.append(element("small"), element("span"));
  setText(node.firstChild, above);
  setText(node.lastChild, words);
}

function queueWords({ counts, status }) {
  if (counts.refused) return `✎ ${number(counts.refused)} to mend`;
  if (!counts.waiting && counts.posts) return "○ batch waits";
  if (!counts.waiting) return WITHOUT_ANSWER[status] || "✓ all sent";
  const wait = counts.waiting === 1 ? "waits" : "wait";
  return `${status === "sent" ? "↑" : "○"} ${laps(counts.waiting)} ${wait}`;
}

function showBanner(app) {
  const banner = byId("banner");
  const message = app.message();
  banner.hidden = !message;
  if (!message || banner.dataset.words === message.words) return;
  banner.dataset.words = message.words;
  const buttons = message.buttons.map(([text, onclick]) =>
    element("button", { type: "button", text, onclick }),
  );
  banner.replaceChildren(element("p", { text: message.words }), ...buttons);
}

function showNext(app, lane) {
  const words = app.next.words(lane, app.clock.toWall(app.clock.now()), app.status === "sent");
  byId("next").hidden = !words;
  setText(byId("next-words"), words);
  setText(byId("next-more"), words && app.next.meanwhile());
}

function showRoute(app, lane) {
  const { catalogue, state } = app;
  const batch = catalogue.batch(lane.product, lane.batch);
  const items = catalogue.operations(lane.product, plain(lane.variant)).map(({ operation }) => {
    const total = catalogue.pieces(batch, lane.product, operation);
    const done = piecesDone(batch, state.counts, { ...lane, operation });
    const count = total ? `${number(done)} of ${number(total)}` : done ? number(done) : "";
    const chosen = operation === lane.operation;
    return { key: operation, label: operation, count, chosen, done: total > 0 && done >= total };
  });
  if (lane.operation && !items.some((item) => item.chosen)) {
    items.push({ key: lane.operation, label: lane.operation, chosen: true });
  }
  items.push({ key: OTHER, label: items.length ? "+ other" : "+ operation" });
  showChips(byId("route"), items, app.pickOperation);
  bringIntoView(byId("route"));
}

/** The chosen chip is in sight after a change, without moving the page. */
function bringIntoView(strip) {
  const chosen = strip.querySelector('[aria-pressed="true"]');
  if (!chosen || strip.dataset.shown === chosen.dataset.key) return;
  strip.dataset.shown = chosen.dataset.key;
  strip.scrollLeft = chosen.offsetLeft - strip.offsetLeft - 60;
}

function showVariants(app, lane) {
  const { catalogue, state } = app;
  const names = catalogue.variants(lane.product);
  const batch = catalogue.batch(lane.product, lane.batch);
  const items = names.map((variant) => {
    const done = piecesDone(batch, state.counts, lane, variant);
    const total = quantity(batch, variant);
    const known = batch?.done_by_variant || !Object.keys(batch?.done || {}).length;
    const count = total ? countWords(done, total, known) : "";
    return { key: variant, label: variant, count, chosen: variant === lane.variant };
  });
  if (names.length > 1)
    items.push({ key: MIXED, label: "mixed stack", chosen: lane.variant === MIXED });
  items.push({ key: OTHER, label: "+ variant" });
  byId("variants").hidden = !names.length;
  showChips(byId("variants"), items, app.pickVariant);
}

function countWords(done, total, known) {
  return known ? `${number(done)} of ${number(total)}` : `${number(total)} in batch`;
}

function showWays(app, lane) {
  const { trial } = app.state;
  byId("ways").hidden = !trial;
  const items = Object.entries(trial || {}).map(([way, name]) => {
    const count = pieces(waysDone(lane, way));
    return { key: way, label: `${way}: ${name}`, count, chosen: lane.way === way };
  });
  showChips(byId("ways"), items, app.pickWay);
}

function waysDone(lane, way) {
  const marked = lane.recent.filter((lap) => !lap.removed && lap.flags.includes(`trial:${way}`));
  return marked.reduce((sum, lap) => sum + lap.units, 0);
}

function showFigures(app, lane) {
  const { catalogue, state } = app;
  const batch = catalogue.batch(lane.product, lane.batch);
  const done = piecesDone(batch, state.counts, lane);
  const total = catalogue.pieces(batch, lane.product, lane.operation);
  const paces = paceOf(lane.recent, lane.product, lane.operation);
  const today = new Date(app.clock.toWall(app.clock.now())).setHours(0, 0, 0, 0);
  const ofToday = lane.recent.filter((lap) => app.clock.toWall(lap.start) >= today);
  const row = catalogue.operation(lane.product, lane.operation, plain(lane.variant));
  const entries = [
    ["Pieces done", number(done), total ? ` of ${number(total)}` : ""],
    ["Last", span(paces.at(-1))],
    ["Today", span(median(paceOf(ofToday, lane.product, lane.operation)))],
    ["Usual", span(row.usual_seconds ?? row.seconds)],
  ];
  const box = byId("figures");
  if (!box.children.length) {
    box.append(
      ...entries.map(([name]) => element("div", {}, element("dt", { text: name }), element("dd"))),
    );
  }
  entries.forEach(([, value, of = ""], k) => {
    const cell = box.children[k].lastChild;
    if (cell.textContent === value + of) return;
    cell.replaceChildren(value, of && element("span", { class: "of", text: of }));
  });
  const marked = piecesMarked(batch, state.counts, lane);
  const marks = marksOf(done, marked);
  byId("marked").hidden = !marks;
  setText(byId("marked"), marks);
}

function showRows(lane) {
  const { running } = lane;
  const atWork = running !== null && !isSide(running) && !isPaused(running);
  for (const id of ["mark-rework", "mark-scrap", "fixed-here"]) byId(id).disabled = !atWork;
  byId("undo").disabled = !lane.undo.length;
  for (const button of byId("sides").querySelectorAll("[data-activity]")) {
    const on = running?.activity === button.dataset.activity;
    button.setAttribute("aria-pressed", String(on));
  }
  byId("pause").disabled = !running;
  byId("pause").setAttribute("aria-pressed", String(running !== null && isPaused(running)));
}

function showTargets(app) {
  const { lanes, active } = app.state;
  const box = byId("targets");
  while (box.children.length > lanes.length) box.lastChild.remove();
  while (box.children.length < lanes.length) box.append(app.newTarget(box.children.length));
  box.classList.toggle("two", lanes.length > 1);
  lanes.forEach((lane, k) => showTarget(app, lane, box.children[k], k === active));
}

export function targetElement() {
  const part = (name, quiet = false) =>
    element("span", { class: `target-${name}`, "aria-hidden": quiet ? "true" : null });
  return element(
    "button",
    { class: "target", type: "button" },
    element("span", { class: "pace-band", "aria-hidden": "true" }),
    part("time", true),
    part("action"),
    part("what"),
    part("pace", true),
    part("hint"),
  );
}

const PART = { band: 0, time: 1, action: 2, what: 3, pace: 4, hint: 5 };

function showTarget(app, lane, target, active) {
  const { running } = lane;
  const two = app.state.lanes.length > 1;
  const look = !running ? "idle" : isPaused(running) ? "halted" : isSide(running) ? "side" : "";
  for (const name of ["idle", "halted", "side"]) target.classList.toggle(name, name === look);
  target.classList.toggle("inactive", two && !active);
  setText(target.children[PART.action], actionWords(app.state, lane));
  const what = [two ? lane.worker : "", lane.operation, plain(lane.variant)].filter(Boolean);
  const none = lane.product ? "no operation yet" : "nothing picked yet";
  setText(target.children[PART.what], what.join(" · ") || none);
  setText(target.children[PART.hint], hintWords(lane, look));
}

function actionWords(state, lane) {
  const { running } = lane;
  if (!running) return "Start";
  if (isPaused(running)) return "Go on";
  const units = unitsATap(state, lane);
  if (!isSide(running)) return units === 1 ? "Piece done" : `${number(units)} done`;
  return `${SIDE_WORDS[running.activity]} over`;
}

function hintWords({ product, operation, running }, look) {
  if (look === "side") return "tap: back to the piece";
  if (!running && !product) return "tap, and name what you make";
  if (!running && !operation) return "tap, and name the operation";
  if (look) return "tap, or press a foot pedal";
  const marks = [];
  if (running.rework) marks.push(`${number(running.rework)} put right`);
  if (running.scrap) marks.push(`${number(running.scrap)} lost`);
  return marks.join(", ") || "hold if you had to put it right";
}

function showRunning(app, lane, target, now) {
  if (!target) return;
  const { running } = lane;
  const seconds = running ? elapsedMs(running, now) / 1000 : 0;
  setText(target.children[PART.time], clockTime(seconds));
  showPace(app, lane, target, seconds);
}

function showPace(app, lane, target, seconds) {
  const aim = paceAim(app, lane);
  const on = aim && lane.running && !isSide(lane.running) && !isPaused(lane.running);
  const pace = on ? paceState(seconds, aim) : "none";
  setText(target.children[PART.pace], on ? `${PACE_SHAPE[pace]} ${paceWords(seconds, aim)}` : "");
  for (const name of ["nearly", "over"]) target.classList.toggle(`pace-${name}`, pace === name);
  const share = on ? Math.min(1, seconds / aim) : 0;
  target.children[PART.band].style.transform = `scaleX(${share.toFixed(3)})`;
  app.paceChanged(lane, pace);
}

/** Seconds a tap to aim at, or null while the cue is off. */
function paceAim(app, lane) {
  if (!app.state.settings.pace.on) return null;
  const row = app.catalogue.operation(lane.product, lane.operation, plain(lane.variant));
  const own = app.state.settings.aims[operationKey(lane)];
  const aim = own || row.seconds || usualSeconds(lane, { catalogue: app.catalogue });
  return aim ? aim * unitsATap(app.state, lane) : null;
}

function showDrying(app, now) {
  const box = byId("drying");
  const groups = dryingGroups(app.state.drying, now);
  box.hidden = !groups.length;
  const words = groups.map((group) => dryingWords(app, group));
  const shown = JSON.stringify(words);
  if (box.dataset.words === shown) return;
  box.dataset.words = shown;
  box.replaceChildren(
    ...groups.map((group, k) => {
      const dry = group.dryUnits === group.units;
      const onclick = () => app.dryTapped(group, dry);
      return element("button", {
        type: "button",
        class: dry ? "dry" : "",
        text: words[k],
        onclick,
      });
    }),
  );
}

function dryingWords({ clock }, { label, firstDue, lastDue, units, dryUnits }) {
  const at = (due) => timeOfDay(clock.toWall(due));
  if (dryUnits === units) return `✓ ${label}: dry`;
  const last = units === 1 || at(firstDue) === at(lastDue) ? "" : `, all ${at(lastDue)}`;
  const first = dryUnits ? `${number(dryUnits)} of ${number(units)} dry` : `dry at ${at(firstDue)}`;
  return `${label}: ${first}${last}`;
}
