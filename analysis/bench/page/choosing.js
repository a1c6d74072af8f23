// Worker, product, batch, variant, operation, way: what the laps that follow belong to.

import { elapsedMs, isPaused, isSide } from "./running.js";
import {
  MIXED,
  ensureBatch,
  lapOf,
  reviseLap,
  saveBatch,
  usualSeconds,
  workActivity,
} from "./tapping.js";
import { spread } from "./catalogue.js";
import { isWork, isoWithOffset } from "./laps.js";
import { NOBODY, unitsATap } from "./state.js";

export const HANDLERS = { choose, beginWith, typed, newBatch, nextBatch, resize, putAway, trial };

const MAYBE_A_PIECE = 0.5; // this share of the usual time since the last tap may have been a piece

/**
 * The running lap moves along: what has run since the last tap belongs to what comes now. Where it
 * ran long enough to have been a piece, one tap says so.
 */
function choose(draft, { lane: k, fields }, context, out) {
  const lane = draft.lanes[k];
  const former = { ...lane };
  const switched = fields.operation && fields.operation !== lane.operation;
  lane.product = fields.product || lane.product;
  if (fields.product && fields.product !== former.product) moveToProduct(lane, context);
  Object.assign(lane, fields);
  if (fields.batch || fields.product) takeItsVariant(lane, context);
  if (lane.running) ensureBatch(draft, lane, context, out);
  if (!lane.running || isSide(lane.running)) return;
  lane.asks = switched ? switchAsk(draft, former, context) : lane.asks;
  lane.running = { ...lane.running, activity: workActivity(lane, context) };
}

/**
 * A new phone begins with the shop's first worker and product. Looked at when its turn comes: a
 * name that was picked while the lists were on their way, or is being kept just now, stands.
 */
function beginWith(draft, { lane: k, worker, product }, context, out) {
  const lane = draft.lanes[k];
  if (lane.product) return;
  const own = lane.worker !== NOBODY || context.catalogue.workers.includes(NOBODY);
  choose(draft, { lane: k, fields: { worker: own ? lane.worker : worker, product } }, context, out);
}

function moveToProduct(lane, { catalogue }) {
  const variants = catalogue.variants(lane.product);
  if (!variants.includes(lane.variant))
    lane.variant = variants.length > 1 ? MIXED : variants[0] || "";
  const names = catalogue.operations(lane.product).map((row) => row.operation);
  if (!names.includes(lane.operation)) lane.operation = names[0] || "";
  lane.batch = catalogue.batches(lane.product)[0]?.batch || "";
}

/** A batch of one variant leaves no question which. */
function takeItsVariant(lane, { catalogue }) {
  const quantities = catalogue.batch(lane.product, lane.batch)?.quantities || {};
  const variants = Object.keys(quantities).filter((name) => name && quantities[name] > 0);
  if (variants.length === 1) lane.variant = variants[0];
}

/** Was the switch forgotten? The laps since the former operation was chosen may be its too. */
function switchAsk(draft, former, context) {
  if (!former.operation) return [];
  const run = lastRun(former);
  const lap = maybePiece(draft, former, context);
  if (!run.length && !lap) return [];
  const since = run.length ? { id: run[0].lap_id, start: run[0].start, count: run.length } : null;
  return [{ kind: "switched", lap_id: `${context.now}`, at: context.now, lap, since }];
}

/** The laps at the end that are of one operation. */
function lastRun({ recent, product, operation }) {
  const kept = recent.filter((lap) => !lap.removed);
  const other = (lap) => lap.product !== product || lap.operation !== operation;
  return kept.slice(kept.findLastIndex(other) + 1);
}

function maybePiece(draft, former, context) {
  const { running } = former;
  const usual = usualSeconds(former, context);
  const units = unitsATap(draft, former);
  const worked = elapsedMs(running, context.now) / 1000;
  if (isPaused(running) || !usual || worked < MAYBE_A_PIECE * usual * units) return null;
  return lapOf(former, running, units, context);
}

/** A name that the shop's lists do not know yet. */
function typed(draft, { kind, product, name }) {
  const known = draft.typed[kind];
  const place = Array.isArray(known) ? known : (known[product] ||= []);
  if (!place.includes(name)) place.push(name);
}

function newBatch(draft, { lane: k, batch, product, quantities }, context, out) {
  saveBatch(draft, { batch, product, quantities }, context, out);
  const lane = draft.lanes[k];
  if (lane.product === product) lane.batch = batch;
}

/** More pieces than the batch has: those over, and what follows, are the next batch's. */
function nextBatch(draft, { lane: k, over }, context, out) {
  const lane = draft.lanes[k];
  const { product, batch, operation } = lane;
  lane.asks = lane.asks.filter((ask) => ask.kind !== "over");
  lane.batch = context.catalogue.nextBatch;
  const sizes = spread(context.catalogue.batchSize(product), context.catalogue.variants(product));
  saveBatch(draft, { batch: lane.batch, product, quantities: sizes }, context, out);
  let left = over;
  for (const lap of [...lane.recent].reverse()) {
    const isHere = lap.product === product && lap.batch === batch && lap.operation === operation;
    if (lap.removed || !isHere || !isWork(lap)) continue;
    left -= lap.units;
    if (left < 0) break; // a tray across both batches stays where it was begun
    const flags = [...lap.flags, "mended"];
    reviseLap(draft, lane, lap.lap_id, { batch: lane.batch, flags }, out);
    const taken = lane.undo.find((step) => step.lapIds.includes(lap.lap_id));
    if (taken) taken.before.batch = lane.batch;
  }
}

/** The batch has another number of pieces than was said. */
function resize(draft, { lane: k, batch, product, quantities }, context, out) {
  saveBatch(draft, { batch, product, quantities }, context, out);
  draft.lanes[k].asks = draft.lanes[k].asks.filter((ask) => ask.kind !== "over");
}

/** "25 packed, put into stock": the pieces go to the shelf, the batch closes. */
function putAway(draft, { lane: k, batch, product, packed }, context, out) {
  const lane = draft.lanes[k];
  const at = isoWithOffset(context.now);
  for (const [variant, pieces] of Object.entries(packed)) {
    if (!pieces) continue;
    const id = context.newId();
    const entry = { id, at, product, variant, batch, pieces };
    const words = `Batch ${batch} into stock`;
    out.posts.push({ id, turn: id, path: "/bench/put-away", list: "put_away", entry, words });
  }
  const { quantities } = context.catalogue.batch(product, batch) || { quantities: packed };
  saveBatch(draft, { batch, product, quantities, open: false }, context, out);
  if (lane.batch === batch && lane.product === product) lane.batch = "";
}

function trial(draft, { ways }) {
  draft.trial = ways;
  for (const lane of draft.lanes) lane.way = ways ? "A" : "";
}
