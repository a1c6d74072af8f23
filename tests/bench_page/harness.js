// The little that the logic tests need: named tests, comparisons, and a bench with a clock in hand.

import { Catalogue } from "/page/catalogue.js";
import { reduce } from "/page/machine.js";
import { newState } from "/page/state.js";

export const tests = new Map();

export const test = (name, run) => tests.set(name, run);

export function equal(actual, expected) {
  const [a, e] = [JSON.stringify(actual), JSON.stringify(expected)];
  if (a !== e) throw new Error(`${a} instead of ${e}`);
}

export const SEW = { operation: "sew", variant: "", wait_seconds: 0, seconds: 30, usual_seconds: 20 };
export const GLUE = { operation: "glue", variant: "", wait_seconds: 600, seconds: 40, usual_seconds: 40 };
export const CHECK = { operation: "check", variant: "", wait_seconds: 0, seconds: 10, usual_seconds: 10, activity_hint: "inspection" }; // prettier-ignore
export const STAMP = { operation: "stamp", variant: "linen", wait_seconds: 0, seconds: 15, usual_seconds: 15 };

export const LISTS = {
  workers: ["maker", "helper"],
  products: [
    { product: "notebook", variants: ["linen", "marbled"], batch_size: 25, operations: [SEW, GLUE, STAMP, CHECK] },
    { product: "journal", variants: [], batch_size: 10, operations: [SEW] },
  ],
  causes: ["crooked"],
  batches: [],
  next_batch: "012",
}; // prettier-ignore

/** A bench whose clock stands in the test's hand (seconds since the beginning). */
export class Bench {
  constructor(lists = LISTS, choose = { product: "notebook", operation: "sew", variant: "linen" }) {
    this.lists = lists;
    this.state = newState();
    this.seconds = 0;
    this.ids = 0;
    this.laps = new Map();
    this.posts = [];
    this.do("choose", { fields: choose });
  }

  at(seconds) {
    this.seconds = seconds;
    return this;
  }

  do(type, fields = {}) {
    const catalogue = new Catalogue(this.lists, this.state);
    const context = { now: 1000 * this.seconds, newId: () => `id-${++this.ids}`, catalogue };
    const step = reduce(this.state, { type, lane: 0, ...fields }, context);
    this.state = step.state;
    step.laps.forEach((lap) => this.laps.set(lap.lap_id, lap));
    this.posts.push(...step.posts);
    return this;
  }

  tap(fields = {}) {
    return this.do("tap", fields);
  }

  lane(k = 0) {
    return this.state.lanes[k];
  }

  /** What the store would hold: laps that are not removed, as [operation, activity, seconds]. */
  kept() {
    const laps = [...this.laps.values()].filter((lap) => !lap.removed);
    return laps.sort((a, b) => a.start - b.start);
  }

  summary() {
    return this.kept().map((lap) => [lap.operation, lap.activity, lap.seconds]);
  }
}
