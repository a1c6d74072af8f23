// All that a bench remembers: one object, kept in the phone's database at every step.

export const RECENT_LAPS = 40; // enough for a batch's median and the five that can be undone
export const UNDO_STEPS = 5;
export const NOBODY = "maker"; // the contract's worker where none is named

export function newState() {
  return {
    lanes: [newLane()], // one a person at the phone
    active: 0, // the lane that chips and marks speak of
    counts: {}, // pieces tapped since the shop's lists were last heard
    drying: [],
    tray: {}, // pieces a tap, by product and operation
    batches: [], // numbered or changed on this phone since the shop's lists were last heard
    causes: [], // most recent first
    typed: { workers: [], products: [], variants: {}, operations: {} },
    trial: null, // {A: "name of a way", B: "…"} while two ways are compared
    settings: {
      pace: { on: false, sound: false, vibrate: false },
      aims: {},
      dryingSound: true,
      light: true,
    },
    happened: "", // what a reload, a sleep or a clock change did to the running lap
  };
}

export function newLane(like = {}) {
  return {
    worker: NOBODY,
    product: "",
    operation: "",
    variant: "",
    batch: "",
    way: "",
    ...like,
    running: null,
    aside: null,
    recent: [],
    undo: [],
    asks: [],
    mayExceed: "", // the batch and operation of which more pieces than it has are no surprise
    marked: null, // the piece just ended by "Done, lost" or "Done, faulty"
  };
}

export const operationKey = (lane) => JSON.stringify([lane.product, lane.operation]);

export const unitsATap = (state, lane) => state.tray[operationKey(lane)] || 1;
