// The target and the buttons around it: a lap ends, the next begins.

import { startDrying } from "./drying.js";
import { isWork, isoWithOffset, makeLap, revise } from "./laps.js";
import { begin, elapsedMs, flag, goOn, halt, isPaused, isSide } from "./running.js";
import { spread } from "./catalogue.js";
import { RECENT_LAPS, UNDO_STEPS, operationKey, unitsATap } from "./state.js";
import { FIXED, median, paceOf, piecesDone, recount } from "./tally.js";

const SAME_PIECE_MS = 1_500; // no piece is made that soon after one was marked
const DOUBLE_MARK_MS = 250; // a double tap of the mark itself
const AWAY_FACTOR = 3;
const AWAY_LEAST_SECONDS = 10;

export const HANDLERS = { tap, side, pause, fixedHere, note, tray };

/** The target: start, go on after a pause, end a side activity, or end a lap and begin the next. */
function tap(draft, event, context, out) {
  const lane = draft.lanes[event.lane];
  const { now } = context;
  if (!lane.running) return start(draft, lane, context, out);
  if (isPaused(lane.running)) return void (lane.running = goOn(lane.running, now));
  if (isSide(lane.running)) return endSide(draft, lane, context, out);
  if (isSamePiece(lane, event, now)) return void (lane.asks = askAgain(lane));
  endPiece(draft, lane, event, context, out);
}

/** "Done, lost" and then "Piece done", out of habit: the piece is noted already. */
function isSamePiece({ marked, running }, { mark }, now) {
  const within = mark ? DOUBLE_MARK_MS : SAME_PIECE_MS;
  return Boolean(marked) && running.started === marked.at && now - marked.at < within;
}

/** The line that says what was noted, now with the reason why this tap made no lap. */
function askAgain({ asks, marked }) {
  const { at, ...noted } = marked;
  const others = asks.filter((ask) => ask.lap_id !== noted.lap_id || ask.kind === "half");
  const asked = asks.find((ask) => ask.kind === "cause" && ask.lap_id === noted.lap_id);
  return [{ ...(asked || { ...noted, kind: "noted" }), again: true }, ...others];
}

export function start(draft, lane, context, out, activity = null) {
  ensureBatch(draft, lane, context, out);
  lane.asks = [];
  lane.running = begin(context.now, activity || workActivity(lane, context));
}

export function workActivity(lane, { catalogue }) {
  const hint = rowOf(lane, catalogue).activity_hint;
  return hint === "inspection" ? "inspection" : "operation";
}

/** A product without an open batch gets the next number and the usual size. */
export function ensureBatch(draft, lane, context, out) {
  const { catalogue } = context;
  if (lane.batch || !lane.product) return;
  const open = catalogue.batches(lane.product)[0];
  lane.batch = open?.batch || catalogue.nextBatch;
  if (open) return;
  const variants = catalogue.variants(lane.product);
  const quantities = spread(catalogue.batchSize(lane.product), variants);
  saveBatch(draft, { batch: lane.batch, product: lane.product, quantities }, context, out);
}

/** Keep a batch of this phone, new or changed, and tell the server. */
export function saveBatch(draft, batch, { newId, now }, out) {
  const known = draft.batches.find((b) => b.batch === batch.batch && b.product === batch.product);
  const kept = { id: newId(), ...known, open: true, ...batch };
  draft.batches = [...draft.batches.filter((b) => b !== known), kept];
  const entry = { ...kept, at: isoWithOffset(now) };
  const words = `Batch ${kept.batch}`;
  out.posts.push({
    id: kept.id,
    turn: newId(),
    path: "/bench/batches",
    list: "batches",
    entry,
    words,
  });
}

function endPiece(draft, lane, { fixed = false, mark = null }, context, out) {
  const { running } = lane;
  const units = unitsATap(draft, lane);
  if (mark && units > 1) return void (lane.running = marked(running, mark));
  const done = mark ? marked(running, mark) : fixed ? fixedOnce(running) : running;
  const before = snapshot(lane);
  const lap = lapOf(lane, done, units, context);
  lane.asks = asksAfter(draft, lane, lap, { fixed, mark }, context);
  if (lane.asks[0]?.kind === "over") keepSize(draft, lane, context, out);
  lane.marked = mark ? { ...lane.asks.find((ask) => ask.kind === "cause"), at: context.now } : null;
  putLap(draft, lane, lap, out);
  remember(lane, before, [lap.lap_id]);
  beginDrying(draft, lane, lap, context);
  lane.running = begin(context.now, workActivity(lane, context));
}

const marked = (running, mark) => ({ ...running, [mark]: running[mark] + 1 });

const fixedOnce = (running) => flag(marked(running, "rework"), FIXED);

/** The lap that `running` becomes when it ends now. */
export function lapOf(lane, running, units, { now, newId }) {
  const trial = lane.way && running.activity !== "delay" ? [`trial:${lane.way}`] : [];
  const scrap = Math.min(running.scrap, units);
  return makeLap({
    lap_id: newId(),
    start: running.started,
    seconds: elapsedMs(running, now) / 1000,
    worker: lane.worker,
    product: lane.product,
    operation: lane.operation,
    variant: plain(lane.variant),
    batch: lane.batch,
    activity: running.activity,
    units,
    scrap_units: scrap,
    rework_units: Math.min(running.rework, units - scrap),
    cause: running.cause,
    cause_operation: running.causeOperation,
    note: running.note,
    flags: [...running.flags, ...trial, ...lapFlags(lane)],
  });
}

export const MIXED = " mixed"; // a stack of several variants; a name nobody can type

/** The variant as laps and routes have it: "" of a mixed stack. */
export const plain = (variant) => (variant === MIXED ? "" : variant);

/** What the route says of the lane's operation. */
const rowOf = ({ product, operation, variant }, catalogue) =>
  catalogue.operation(product, operation, plain(variant));

function lapFlags(lane) {
  const mixed = lane.variant === MIXED ? ["mixed"] : [];
  return lane.operation.includes(" + ") ? [...mixed, "joined"] : mixed;
}

/** One question at most waits for an answer; the lap is kept whether it is answered or not. */
function asksAfter(draft, lane, lap, { fixed, mark }, context) {
  const { lap_id, units, seconds } = lap;
  const { catalogue } = context;
  const batch = catalogue.batch(lane.product, lane.batch);
  const before = piecesDone(batch, draft.counts, lane);
  const total = catalogue.pieces(batch, lane.product, lane.operation);
  const asks = [];
  const most = catalogue.most(batch, lane.product, lane.operation);
  const over = before + units - most;
  const isKnown = lane.mayExceed === overKey(lane);
  if (most && over > 0 && !isKnown) asks.push({ kind: "over", lap_id, over, most });
  const isHalf = 2 * before < total && 2 * (before + units) >= total;
  if (isHalf && lane.way && hasKeptToOneWay(lane)) asks.push({ kind: "half", lap_id, way: lane.way });
  if (mark) asks.push({ kind: "cause", lap_id, mark, piece: before + units });
  if (fixed) asks.push({ kind: "fault", lap_id });
  if (units > 1) asks.push({ kind: "tray", lap_id, units });
  const usual = usualSeconds(lane, context);
  const long = usual && seconds > Math.max(AWAY_FACTOR * usual * units, AWAY_LEAST_SECONDS);
  if (long) asks.push({ kind: "away", lap_id, usual: usual * units, seconds });
  return asks;
}

export function overKey({ product, batch, operation }) {
  return JSON.stringify([product, batch, operation]);
}

/** A batch of which nobody said the size must not grow with every tap past it. */
function keepSize(draft, { product, batch }, context, out) {
  const known = context.catalogue.batch(product, batch);
  const isOwn = draft.batches.some((one) => one.batch === batch && one.product === product);
  if (known?.told !== false || isOwn) return;
  saveBatch(draft, { batch, product, quantities: known.quantities }, context, out);
}

/** Nobody who changes over by turns need be told to at half. */
function hasKeptToOneWay({ recent, product, operation, batch, way }) {
  const other = `trial:${way === "A" ? "B" : "A"}`;
  const here = (lap) => lap.product === product && lap.operation === operation && lap.batch === batch;
  return !recent.some((lap) => !lap.removed && here(lap) && lap.flags.includes(other));
}

/** Seconds a piece one may expect: from this shop's laps, else from those just tapped. */
export function usualSeconds(lane, { catalogue }) {
  const row = rowOf(lane, catalogue);
  const here = paceOf(lane.recent, lane.product, lane.operation);
  return row.usual_seconds || (here.length >= 3 ? median(here) : null) || row.seconds;
}

function beginDrying(draft, lane, lap, { now, catalogue }) {
  const row = rowOf(lane, catalogue);
  const good = lap.units - lap.scrap_units;
  if (!(row.wait_seconds > 0) || !good || !isWork(lap)) return;
  draft.drying = startDrying(draft.drying, {
    id: lap.lap_id,
    label: `${lap.operation} ${lap.batch}`.trim(),
    group: JSON.stringify([lap.product, lap.batch, lap.operation]),
    units: good,
    endedAt: now,
    waitSeconds: row.wait_seconds,
  });
}

/** Setup, a walk, an interruption, rework of another piece: the piece in hand is put aside. */
function side(draft, { lane: k, activity }, context, out) {
  const lane = draft.lanes[k];
  if (!lane.running) return start(draft, lane, context, out, activity);
  if (!isSide(lane.running)) {
    lane.aside = halt(lane.running, context.now);
    lane.asks = [];
    return void (lane.running = begin(context.now, activity));
  }
  const same = lane.running.activity === activity;
  endSide(draft, lane, context, out);
  const again = same && activity === "rework"; // one tap a piece for a stack that is put right
  if (same && !again) return;
  lane.aside = halt(lane.running, context.now);
  lane.running = begin(context.now, activity);
}

function endSide(draft, lane, context, out) {
  const before = snapshot(lane);
  const lap = lapOf(lane, lane.running, 1, context);
  const mark = { rework: "rework lap", delay: "delay" }[lap.activity];
  lane.asks = mark ? [{ kind: "cause", lap_id: lap.lap_id, mark, seconds: lap.seconds }] : [];
  putLap(draft, lane, lap, out);
  remember(lane, before, [lap.lap_id]);
  const fresh = begin(context.now, workActivity(lane, context));
  lane.running = lane.aside ? goOn(lane.aside, context.now) : fresh;
  lane.aside = null;
}

function pause(draft, { lane: k }, { now }) {
  const lane = draft.lanes[k];
  if (!lane.running) return;
  lane.running = isPaused(lane.running) ? goOn(lane.running, now) : halt(lane.running, now);
}

/** A touch-up inside the running lap, and the operation that made it needed. */
function fixedHere(draft, { lane: k, causeOperation }) {
  const lane = draft.lanes[k];
  if (!lane.running) return;
  lane.running = { ...fixedOnce(lane.running), causeOperation };
}

function note(draft, { lane: k, text }) {
  const lane = draft.lanes[k];
  if (lane.running) lane.running.note = text;
}

function tray(draft, { lane: k, units }) {
  draft.tray[operationKey(draft.lanes[k])] = units;
}

/** Keep a new lap or a new revision of one, and count its pieces. */
export function putLap(draft, lane, lap, out) {
  const former = lane.recent.find((known) => known.lap_id === lap.lap_id);
  draft.counts = recount(draft.counts, former, lap);
  lane.recent = former
    ? lane.recent.map((known) => (known === former ? lap : known))
    : [...lane.recent, lap].slice(-RECENT_LAPS);
  out.laps.set(lap.lap_id, lap);
}

export function reviseLap(draft, lane, lapId, fields, out) {
  const lap = lane.recent.find((known) => known.lap_id === lapId);
  if (!lap || lap.removed) return null;
  const revised = revise(lap, fields);
  putLap(draft, lane, revised, out);
  return revised;
}

export function snapshot(lane) {
  const { running, aside, product, operation, variant, batch, worker, way } = lane;
  return { running, aside, product, operation, variant, batch, worker, way };
}

export function remember(lane, before, lapIds) {
  lane.undo = [...lane.undo, { before, lapIds }].slice(-UNDO_STEPS);
}
