// "Save a copy": the waiting laps as a CSV in the lap contract, which the Laps screen can import.

import { toWire } from "./laps.js";

export const COLUMNS = [
  "lap_id",
  "started_at",
  "seconds",
  "product",
  "operation",
  "worker",
  "variant",
  "batch",
  "activity",
  "units",
  "rework_units",
  "scrap_units",
  "cause",
  "cause_operation",
  "rating",
  "note",
];
const RUN_AS_FORMULA = /^['=+\-@\t\r]/; // an apostrophe in front is doubled, so that it comes back

export function toCsv(laps) {
  const kept = laps.filter((lap) => !lap.removed);
  const rows = kept.map(toWire).map(row);
  return [COLUMNS.join(","), ...rows].join("\r\n") + "\r\n";
}

function row(wire) {
  return COLUMNS.map((name) => field(wire[name])).join(",");
}

function field(value) {
  if (typeof value === "number") return String(value);
  const text = RUN_AS_FORMULA.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
