// Times and counts in a maker's words.

import { number } from "./figures.js";

/** "0:07", "12:30", "1:02:05". */
export function clockTime(seconds) {
  const whole = Math.max(0, Math.floor(seconds));
  const two = (part) => String(part).padStart(2, "0");
  const hours = Math.floor(whole / 3600);
  const minutes = Math.floor((whole % 3600) / 60);
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

/** "42 s", "3:12", "1:02:05": short for a piece, a clock for longer. */
export function span(seconds) {
  if (seconds === null || seconds === undefined || Number.isNaN(seconds)) return "–";
  if (seconds < 9.95) return `${number(seconds, 1)} s`;
  return seconds < 99.5 ? `${Math.round(seconds)} s` : clockTime(Math.round(seconds));
}

/** "Piece 5 noted: lost."; `again` where a tap that followed at once was not counted. */
export function noted(piece, mark, again = false) {
  const what = mark === "scrap" ? "lost" : "to be put right";
  const why = again ? " The second tap was the same piece." : "";
  return `Piece ${number(piece)} noted: ${what}.${why}`;
}

/** "5 good, 1 to put right, 1 lost"; "" where every piece is good. */
export function marksOf(done, { toMend, lost }) {
  if (!toMend && !lost) return "";
  const good = `${number(Math.max(0, done - toMend - lost))} good`;
  const others = [toMend && `${number(toMend)} to put right`, lost && `${number(lost)} lost`];
  return [good, ...others].filter(Boolean).join(", ");
}

export function pieces(count) {
  return count === 1 ? "1 piece" : `${number(count)} pieces`;
}

export function laps(count) {
  return count === 1 ? "1 lap" : `${number(count)} laps`;
}

export function batches(count) {
  return count === 1 ? "1 batch" : `${number(count)} batches`;
}

export function taps(count) {
  return count === 1 ? "1 tap" : `${number(count)} taps`;
}
