// What has been done: pieces of a batch by operation, and the times of the last pieces.

import { isWork } from "./laps.js";

const key = (batch, operation, variant) => JSON.stringify([batch, operation, variant]);

/** `counts` with a lap's former revision (or null) taken out and the present one put in. */
export function recount(counts, former, present) {
  const next = { ...counts };
  if (former) add(next, former, -1);
  add(next, present, 1);
  return next;
}

function add(counts, lap, sign) {
  if (lap.removed || !isWork(lap)) return;
  const place = key(lap.batch, lap.operation, lap.variant);
  counts[place] = (counts[place] || 0) + sign * lap.units;
}

/** Pieces of `batch` through `operation`: what the server listed and what came since. */
export function piecesDone(listed, counts, batch, operation, variant = null) {
  const before = variant === null ? listed?.done : listed?.done_by_variant?.[operation];
  let total = before?.[variant === null ? operation : variant] || 0;
  for (const [place, units] of Object.entries(counts)) {
    const [itsBatch, itsOperation, itsVariant] = JSON.parse(place);
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
  for (const [place, units] of Object.entries(counts)) {
    const [itsBatch, operation, variant] = JSON.parse(place);
    if (itsBatch !== batch.batch) continue;
    done[operation] = (done[operation] || 0) + units;
    const variants = (byVariant[operation] ||= {});
    variants[variant] = (variants[variant] || 0) + units;
  }
  return { ...batch, done, done_by_variant: byVariant };
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
