// What has been done: pieces of a batch by operation, and the times of the last pieces.
// Counts are kept by batch, operation and variant; those lost or to mend with a fourth word.

import { isWork } from "./laps.js";

export const FIXED = "fixed_here"; // put right within the lap, so that nothing is left to mend
const LOST = "lost";
const TO_MEND = "to_mend";

/** `counts` with a lap's former revision (or null) taken out and the present one put in. */
export function recount(counts, former, present) {
  const next = { ...counts };
  if (former) add(next, former, -1);
  add(next, present, 1);
  return next;
}

function add(counts, lap, sign) {
  if (lap.removed) return;
  const place = [lap.batch, lap.operation, lap.variant];
  if (lap.activity === "rework") addTo(counts, [...place, TO_MEND], -sign * lap.units);
  if (!isWork(lap)) return;
  addTo(counts, place, sign * lap.units);
  addTo(counts, [...place, LOST], sign * lap.scrap_units);
  const isFixed = lap.flags.includes(FIXED);
  addTo(counts, [...place, TO_MEND], isFixed ? 0 : sign * lap.rework_units);
}

function addTo(counts, place, units) {
  const key = JSON.stringify(place);
  if (units) counts[key] = (counts[key] || 0) + units;
}

/** Pieces of `batch` lost at `operation`, and those marked there that nobody has mended yet. */
export function piecesMarked(listed, counts, batch, operation) {
  const marked = { lost: listed?.lost?.[operation] || 0, toMend: listed?.to_mend?.[operation] || 0 };
  for (const [place, units] of Object.entries(counts)) {
    const [itsBatch, itsOperation, , mark] = JSON.parse(place);
    if (itsBatch !== batch || itsOperation !== operation) continue;
    if (mark === LOST) marked.lost += units;
    if (mark === TO_MEND) marked.toMend += units;
  }
  return { lost: Math.max(0, marked.lost), toMend: Math.max(0, marked.toMend) };
}

/** Which piece of its batch each lap made, [first, last] by lap_id, counted back from the last. */
export function pieceNumbers(recent, doneOf) {
  const numbers = new Map();
  const left = new Map();
  for (const lap of recent.filter((one) => !one.removed && isWork(one)).reverse()) {
    const place = JSON.stringify([lap.product, lap.batch, lap.operation]);
    const last = left.get(place) ?? doneOf(lap);
    numbers.set(lap.lap_id, [last - lap.units + 1, last]);
    left.set(place, last - lap.units);
  }
  return numbers;
}

/** Pieces of `batch` through `operation`: what the server listed and what came since. */
export function piecesDone(listed, counts, batch, operation, variant = null) {
  const before = variant === null ? listed?.done : listed?.done_by_variant?.[operation];
  let total = before?.[variant === null ? operation : variant] || 0;
  for (const [place, units] of Object.entries(counts)) {
    const [itsBatch, itsOperation, itsVariant, mark] = JSON.parse(place);
    if (mark) continue;
    const sameVariant = variant === null || itsVariant === variant;
    if (itsBatch === batch && itsOperation === operation && sameVariant) total += units;
  }
  return total;
}

/**
 * `lists` with the batches that the lanes are at, should the server list them no more (a finished
 * batch drops out): as they were in the `former` lists, with the `covered` counts added.
 */
export function keepOwnBatches(lists, former, covered, lanes) {
  const batches = [...lists.batches];
  for (const { product, batch } of lanes) {
    const same = (other) => other.batch === batch && other.product === product;
    if (!batch || batches.some(same)) continue;
    const known = former?.batches.find(same) || { product, batch, open: true };
    batches.push(withCounts(known, covered));
  }
  return { ...lists, batches };
}

function withCounts(batch, counts) {
  const done = { ...batch.done };
  const byVariant = structuredClone(batch.done_by_variant || {});
  const marks = { [LOST]: { ...batch.lost }, [TO_MEND]: { ...batch.to_mend } };
  for (const [place, units] of Object.entries(counts)) {
    const [itsBatch, operation, variant, mark] = JSON.parse(place);
    if (itsBatch !== batch.batch) continue;
    if (mark) {
      marks[mark][operation] = (marks[mark][operation] || 0) + units;
      continue;
    }
    done[operation] = (done[operation] || 0) + units;
    const variants = (byVariant[operation] ||= {});
    variants[variant] = (variants[variant] || 0) + units;
  }
  return { ...batch, ...marks, done, done_by_variant: byVariant };
}

/** Seconds a piece of the recent laps of this operation, newest last. */
export function paceOf(recent, product, operation) {
  return recent
    .filter((lap) => !lap.removed && isWork(lap))
    .filter((lap) => lap.product === product && lap.operation === operation)
    .map((lap) => lap.seconds / lap.units);
}

export function median(numbers) {
  if (!numbers.length) return null;
  const sorted = [...numbers].sort((a, b) => a - b);
  const middle = Math.floor(sorted.length / 2);
  return sorted.length % 2 ? sorted[middle] : (sorted[middle - 1] + sorted[middle]) / 2;
}
