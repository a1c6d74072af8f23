// What every tap does: (state, event, context) -> {state, laps, posts}. No screen, no storage and
// no clock here; `context` brings `now` (steady ms), `newId()` and the `catalogue`.
// `laps` are those made or corrected by the event; they are stored together with the state, before
// the screen shows anything of it.

import * as contexts from "./choosing.js";
import * as corrections from "./mending.js";
import * as tapping from "./tapping.js";
import { clearDrying, startDrying, withoutOld } from "./drying.js";
import { flag } from "./running.js";
import { newLane } from "./state.js";

const HANDLERS = {
  ...tapping.HANDLERS,
  ...corrections.HANDLERS,
  ...contexts.HANDLERS,
  activate: (draft, { lane }) => void (draft.active = lane),
  people: setPeople,
  clock: clockEvent,
  noticed: (draft) => void (draft.happened = ""),
  listed,
  settings: (draft, { settings }) => void Object.assign(draft.settings, settings),
  aim: (draft, { key, seconds }) => void (draft.settings.aims[key] = seconds),
  dryTimer: addDryTimer,
  dryDone: (draft, { group }) => void (draft.drying = clearDrying(draft.drying, group)),
};

export function reduce(state, event, context) {
  const draft = structuredClone(state);
  const out = { laps: new Map(), posts: [] };
  draft.drying = withoutOld(draft.drying, context.now);
  HANDLERS[event.type](draft, event, context, out);
  return { state: draft, laps: [...out.laps.values()], posts: out.posts };
}

function setPeople(draft, { count, worker }) {
  if (count === 2 && draft.lanes.length === 1) {
    const { product, operation, variant, batch } = draft.lanes[0];
    draft.lanes.push(newLane({ worker, product, operation, variant, batch }));
  }
  if (count === 1) {
    draft.lanes = [draft.lanes[draft.active]];
    draft.active = 0;
  }
}

/** A reload, a sleep or a changed clock marks every lap it fell into. */
function clockEvent(draft, { kind, words }) {
  const mark = (running) => running && flag(running, kind);
  for (const lane of draft.lanes) {
    lane.running = mark(lane.running);
    lane.aside = mark(lane.aside);
  }
  draft.happened = words;
}

function addDryTimer(draft, { label, minutes }, { now, newId }) {
  const id = newId();
  const entry = { id, label, group: id, units: 1, endedAt: now, waitSeconds: minutes * 60 };
  draft.drying = startDrying(draft.drying, entry);
}

/** New lists make up for what was counted and numbered here before they were asked for. */
function listed(draft, { covered }) {
  draft.counts = minus(draft.counts, covered.counts);
  const inLists = new Set(covered.batches.map((batch) => JSON.stringify(batch)));
  draft.batches = draft.batches.filter((batch) => !inLists.has(JSON.stringify(batch)));
}

function minus(counts, covered) {
  const left = { ...counts };
  for (const [place, units] of Object.entries(covered)) {
    left[place] = (left[place] || 0) - units;
    if (!left[place]) delete left[place];
  }
  return left;
}
