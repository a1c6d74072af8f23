// What has been done: pieces of a batch by operation, and the times of the last pieces.
// Counts are kept by product, batch, operation and variant, since two products may have batches of
// one number; those lost or to mend with a fifth word.

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
  const place = [lap.product, lap.batch, lap.operation, lap.variant];
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

/** A count's key and pieces, as words. */
function* counted(counts) {
  for (const [place, units] of Object.entries(counts)) {
    const [product, batch, operation, variant, mark] = JSON.parse(place);
    yield { product, batch, operation, variant, mark, units };
  }
}

const isOf = (one, { product, batch }) => one.product === product && one.batch === batch;

/** Pieces lost at a `place` {product, batch, operation}, and those to mend that nobody has yet. */
export function piecesMarked(listed, counts, place) {
  const { operation } = place;
  const marked = { lost: listed?.lost?.[operation] || 0, toMend: listed?.to_mend?.[operation] || 0 };
  for (const one of counted(counts)) {
    const { mark, units } = one;
    if (!isOf(one, place) || one.operation !== operation) continue;
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

/** Pieces through a `place` {product, batch, operation}: what the server listed and what came since. */
export function piecesDone(listed, counts, place, variant = null) {
  const { operation } = place;
  const before = variant === null ? listed?.done : listed?.done_by_variant?.[operation];
  let total = before?.[variant === null ? operation : variant] || 0;
  for (const one of counted(counts)) {
    if (one.mark || !isOf(one, place) || one.operation !== operation) continue;
    if (variant === null || one.variant === variant) total += one.units;
  }
  return total;
}

/**
 * `lists` with the batches that the lanes are at, should the server list them no more (a finished
 * batch drops out): as `known` before, with the `covered` counts added.
 */
export function keepOwnBatches(lists, known, covered, lanes) {
  const batches = [...lists.batches];
  for (const { product, batch } of lanes) {
    const same = (other) => isOf(other, { product, batch });
    if (!batch || batches.some(same)) continue;
    const former = known.find(same) || { product, batch, open: true };
    batches.push(withCounts(former, covered));
  }
  return { ...lists, batches };
}

function withCounts(batch, counts) {
  const done = { ...batch.done };
  const byVariant = structuredClone(batch.done_by_variant || {});
  const marks = { [LOST]: { ...batch.lost }, [TO_MEND]: { ...batch.to_mend } };
  for (const one of counted(counts)) {
    const { operation, variant, mark, units } = one;
    if (!isOf(one, batch)) continue;
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
