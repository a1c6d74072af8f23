// What now: one line with the next task, as the server plans it from the laps so far. It is asked for
// when the lists are, so never in the way of a lap, and the last answer is kept for when there is no
// network. Hidden by a tap, it comes back with another task.

import { timeOfDay, told } from "./figures.js";
import { ask } from "./sender.js";

const ANSWER_WITHIN_MS = 20_000;
const FRESH_MS = 5 * 60_000;

export class NextTask {
  constructor(storage, changed) {
    Object.assign(this, { storage, changed, answer: null, hidden: "" });
  }

  /** What was last heard, before the server is asked. */
  async takeUp() {
    const kept = await this.storage.get("next").catch(() => null);
    if (kept) Object.assign(this, kept);
  }

  async refresh(worker) {
    const path = `/bench/next?worker=${encodeURIComponent(worker)}`;
    const { status, body } = await ask(path, { cache: "no-store" }, ANSWER_WITHIN_MS);
    if (status !== 200 || typeof body?.sentence !== "string") return;
    this.answer = { ...body, askedFor: worker };
    await this.keep();
  }

  hide() {
    this.hidden = taskOf(this.answer);
    return this.keep();
  }

  keep() {
    const { answer, hidden } = this;
    this.changed();
    return this.storage.put("next", { answer, hidden }).catch(() => {}); // shown all the same
  }

  /** The line for a lane at `now` (wall ms), "" where there is none: hidden, or already at it. */
  words(lane, now, online) {
    const { answer } = this;
    if (!answer?.sentence || answer.askedFor !== lane.worker) return "";
    if (this.hidden === taskOf(answer) || isAtIt(lane, answer)) return "";
    const sentence = told(answer.sentence);
    if (!this.isOld(now, online)) return sentence;
    return `${sentence} (as of ${timeOfDay(Date.parse(answer.at))})`;
  }

  isOld(now, online) {
    return !online || now - Date.parse(this.answer.at) > FRESH_MS;
  }

  /** What dries meanwhile, for screens with room for it. */
  meanwhile() {
    return told(this.answer?.meanwhile || "");
  }
}

function taskOf(answer) {
  const { operation, product, variant, batch, activity } = answer || {};
  return JSON.stringify([operation, product, variant, batch, activity]);
}

function isAtIt(lane, { operation, product, activity }) {
  const same = lane.running && lane.operation === operation && lane.product === product;
  return Boolean(same) && activity === "operation";
}
