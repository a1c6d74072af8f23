// A lap as the phone keeps it, and as it is sent (the lap contract, with a revision and flags).

const WORK = ["operation", "inspection"];
const TEXTS = [
  "worker",
  "product",
  "operation",
  "variant",
  "batch",
  "activity",
  "cause",
  "cause_operation",
  "note",
];
const LONGEST_SECONDS = 86_400;

/** `start` in steady milliseconds; everything else as in the contract. */
export function makeLap(fields) {
  const lap = {
    revision: 0,
    removed: false,
    worker: "maker",
    product: "",
    operation: "",
    variant: "",
    batch: "",
    activity: "operation",
    units: 1,
    rework_units: 0,
    scrap_units: 0,
    cause: "",
    cause_operation: "",
    rating: 100,
    note: "",
    flags: [],
    ...fields,
  };
  lap.seconds = clampSeconds(lap.seconds);
  return lap;
}

/** A correction: the same lap, one revision on. */
export function revise(lap, fields) {
  const revised = { ...lap, ...fields, revision: lap.revision + 1 };
  revised.seconds = clampSeconds(revised.seconds);
  revised.flags = [...new Set(revised.flags)];
  return revised;
}

function clampSeconds(seconds) {
  const rounded = Math.round(seconds * 1000) / 1000;
  return Math.min(LONGEST_SECONDS, Math.max(0.001, rounded));
}

export function isWork(lap) {
  return WORK.includes(lap.activity);
}

/** What is posted: text trimmed, the start with the phone's offset (see clock.js on its frame). */
export function toWire(lap) {
  const wire = {
    lap_id: lap.lap_id,
    revision: lap.revision,
    removed: lap.removed,
    started_at: isoWithOffset(lap.start),
    seconds: lap.seconds,
    units: lap.units,
    rework_units: lap.rework_units,
    scrap_units: lap.scrap_units,
    rating: lap.rating,
    flags: lap.flags,
  };
  for (const name of TEXTS) wire[name] = lap[name].trim();
  return wire;
}

/** ISO 8601 local time with its offset, to the millisecond. */
export function isoWithOffset(steadyMs) {
  const offsetMinutes = -new Date(steadyMs).getTimezoneOffset();
  const local = new Date(steadyMs + offsetMinutes * 60_000).toISOString().slice(0, -1);
  const size = Math.abs(offsetMinutes);
  const two = (number) => String(number).padStart(2, "0");
  const sign = offsetMinutes < 0 ? "-" : "+";
  return `${local}${sign}${two(Math.floor(size / 60))}:${two(size % 60)}`;
}
