// Setting right what was tapped: every correction is a new revision of a lap, nothing is lost.

import { withoutLaps } from "./drying.js";
import { makeLap } from "./laps.js";
import { begin, flag } from "./running.js";
import { overKey, plain, putLap, remember, reviseLap, snapshot, workActivity } from "./tapping.js";

export const HANDLERS = {
  undo,
  edit,
  remove,
  answer,
  dismiss,
  wasPiece,
  otherWay,
  since,
  away,
  memory,
  split,
};

const MOST_CAUSES = 12;

/** Take back the last lap: its time flows back into the one that runs. */
function undo(draft, { lane: k }, context, out) {
  const lane = draft.lanes[k];
  const step = lane.undo.at(-1);
  if (!step) return;
  lane.undo = lane.undo.slice(0, -1);
  for (const id of step.lapIds) reviseLap(draft, lane, id, { removed: true }, out);
  draft.drying = withoutLaps(draft.drying, step.lapIds);
  const since = lane.running?.flags || [];
  Object.assign(lane, step.before, { asks: [] });
  if (lane.running) lane.running = flag(lane.running, ...since);
}

function edit(draft, { lane: k, lapId, fields }, context, out) {
  const lane = draft.lanes[k];
  if (fields.cause) rememberCause(draft, fields.cause);
  reviseLap(draft, lane, lapId, fields, out);
}

function remove(draft, { lane: k, lapId }, context, out) {
  const lane = draft.lanes[k];
  reviseLap(draft, lane, lapId, { removed: true }, out);
  draft.drying = withoutLaps(draft.drying, [lapId]);
  lane.undo = lane.undo.filter((step) => !step.lapIds.includes(lapId));
}

/** The first question of the lane is answered by correcting its lap. */
function answer(draft, { lane: k, fields }, context, out) {
  const lane = draft.lanes[k];
  const [ask, ...rest] = lane.asks;
  lane.asks = rest;
  if (ask) edit(draft, { lane: k, lapId: ask.lap_id, fields }, context, out);
}

function dismiss(draft, { lane: k }) {
  const lane = draft.lanes[k];
  if (lane.asks[0]?.kind === "over") lane.mayExceed = overKey(lane); // not asked at every piece
  lane.asks = lane.asks.slice(1);
}

function rememberCause(draft, cause) {
  const others = draft.causes.filter((known) => known !== cause);
  draft.causes = [cause, ...others].slice(0, MOST_CAUSES);
}

/** At half of a trial's batch: the other way from here on. */
function otherWay(draft, { lane: k }) {
  const lane = draft.lanes[k];
  lane.way = lane.way === "A" ? "B" : "A";
  lane.asks = lane.asks.slice(1);
}

/** After a change of operation: the time since the last tap was a finished piece of the former. */
function wasPiece(draft, { lane: k }, context, out) {
  const lane = draft.lanes[k];
  const ask = lane.asks.find((one) => one.kind === "switched");
  lane.asks = [];
  if (!ask || !lane.running) return;
  const before = snapshot(lane);
  const lap = makeLap({ ...ask.lap, lap_id: context.newId() });
  putLap(draft, lane, lap, out);
  remember(lane, before, [lap.lap_id]);
  lane.running = { ...begin(ask.at, workActivity(lane, context)), flags: lane.running.flags };
}

/**
 * The forgotten switch: every lap since the start of `fromLapId` (null: only the running one) was
 * something else. `fields` is an operation, or an activity.
 */
function since(draft, { lane: k, fromLapId, fields }, context, out) {
  const lane = draft.lanes[k];
  const from = fromLapId && lane.recent.find((lap) => lap.lap_id === fromLapId);
  const wrong = from ? lane.recent.filter((lap) => !lap.removed && lap.start >= from.start) : [];
  for (const lap of wrong) {
    reviseLap(draft, lane, lap.lap_id, { ...fields, flags: [...lap.flags, "mended"] }, out);
  }
  if (fields.operation) lane.operation = fields.operation;
  lane.asks = [];
  if (!lane.running) return;
  lane.running = flag(lane.running, "mended");
  lane.running.activity = fields.activity || workActivity(lane, context);
}

/** "Were you away?" Yes: the lap keeps its usual time, the rest becomes a delay. */
function away(draft, { lane: k, lapId, keptSeconds }, context, out) {
  const lane = draft.lanes[k];
  const lap = lane.recent.find((known) => known.lap_id === lapId);
  lane.asks = lane.asks.filter((ask) => ask.kind !== "away");
  if (!lap || lap.removed || !(keptSeconds > 0 && keptSeconds < lap.seconds)) return;
  const flags = [...lap.flags, "away_split"];
  const rest = {
    ...lap,
    lap_id: context.newId(),
    revision: 0,
    start: lap.start + keptSeconds * 1000,
    seconds: lap.seconds - keptSeconds,
    activity: "delay",
    units: 1,
    rework_units: 0,
    scrap_units: 0,
    cause: "",
    cause_operation: "",
    flags,
  };
  reviseLap(draft, lane, lapId, { seconds: keptSeconds, flags }, out);
  putLap(draft, lane, makeLap(rest), out);
  const step = lane.undo.find((one) => one.lapIds.includes(lapId));
  step?.lapIds.push(rest.lap_id);
}

/** A lap that nobody timed, from memory. */
function memory(draft, { lane: k, fields }, context, out) {
  const lane = draft.lanes[k];
  const { worker, product, variant, batch } = lane;
  const place = { worker, product, batch, variant: plain(variant) };
  const lap = makeLap({ ...place, ...fields, lap_id: context.newId(), flags: ["from_memory"] });
  putLap(draft, lane, lap, out);
}

/** Split a coarse lap: `parts` [{operation, seconds}] one after another in its time. */
function split(draft, { lane: k, lapId, parts }, context, out) {
  const lane = draft.lanes[k];
  const lap = lane.recent.find((known) => known.lap_id === lapId);
  if (!lap || lap.removed || parts.length < 2) return;
  const flags = [...lap.flags.filter((word) => word !== "joined"), "split"];
  let { start } = lap;
  parts.forEach((part, nth) => {
    const fields = { ...part, start, flags };
    if (nth === 0) reviseLap(draft, lane, lapId, fields, out);
    else
      putLap(
        draft,
        lane,
        makeLap({ ...lap, ...fields, ...NEW_PART, lap_id: context.newId() }),
        out,
      );
    start += part.seconds * 1000;
  });
}

const NEW_PART = { revision: 0, rework_units: 0, scrap_units: 0, cause: "", cause_operation: "" };
