// "Save a copy": the waiting laps as a CSV in the lap contract, which the Laps screen can import.
// What the page marked of them (a trial's way, fixed here) stands in a column of its own, as in an
// export of the dashboard, where there is any.

import { toWire } from "./laps.js";

const COLUMNS = [
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
const MARKS = "marks";
// As analysis/records/text.py has it; an apostrophe in front is doubled, so that it comes back.
const RUN_AS_FORMULA = /^['=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/;

export function toCsv(laps) {
  const kept = laps.filter((lap) => !lap.removed);
  const rows = kept.map((lap) => ({ ...toWire(lap), [MARKS]: [...lap.flags].sort().join(", ") }));
  const columns = rows.some((row) => row[MARKS]) ? [...COLUMNS, MARKS] : COLUMNS;
  const lines = rows.map((row) => columns.map((name) => field(row[name])).join(","));
  return [columns.join(","), ...lines].join("\r\n") + "\r\n";
}

function field(value) {
  if (typeof value === "number") return String(value);
  const text = RUN_AS_FORMULA.test(value) ? `'${value}` : value;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
