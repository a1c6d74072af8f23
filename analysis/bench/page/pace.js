// The pace cue: where the running piece stands against the time one aims at, and when aiming so
// low does harm. Racing spoils pieces and hurts hands; the cue is there to keep an even pace.

import { number } from "./figures.js";

const NEAR = 0.85; // common practice, no source: the last 15 % of the time is "nearly"

/** "ahead", "nearly" or "over" at `elapsed` seconds of `target` seconds a piece. */
export function paceState(elapsed, target) {
  if (!target) return "none";
  if (elapsed >= target) return "over";
  return elapsed >= NEAR * target ? "nearly" : "ahead";
}

/** Each state has a shape of its own, so that colour is never the only sign. */
export const PACE_SHAPE = { ahead: "○", nearly: "◐", over: "▲", none: "" };

export function paceWords(elapsed, target) {
  if (elapsed < target) return `${number(Math.ceil(target - elapsed))} s to the aim`;
  return `${number(Math.floor(elapsed - target))} s over the aim`;
}

/** Why `target` seconds a piece is too fast for this operation, or "". */
export function tooFast(target, operation) {
  const rushed = operation?.rushed_below_seconds;
  if (rushed && target < rushed) {
    return `Below ${number(rushed)} s a piece more pieces get spoiled here, by this shop's own laps.`;
  }
  const normal = operation?.seconds;
  if (normal && target < normal) {
    const short = Math.max(1, Math.round(normal - target));
    return `That is ${number(short)} s under the normal time of ${number(normal)} s. Racing spoils pieces and strains hands.`;
  }
  return "";
}
