// Which tab of this phone works at which bench. Each open tab has a bench ("slot") of its own; a
// tab that was closed or killed leaves its bench, running lap included, to the next one that opens.
// Tabs ask each other over a BroadcastChannel, which plain http allows (Web Locks it does not).

import { newId } from "./ids.js";

const ANSWER_MS = 150;
const PATIENCE_MS = 2_500; // for a tab that was alive a moment ago and may only be slow to answer
export const BEAT_MS = 5_000;
export const GONE = 0; // the last beat of a tab that goes
const LATELY_MS = 3 * BEAT_MS;
const JUST_TAKEN_MS = 2_000; // two tabs that open at once: who came first keeps it
const MOST_SLOTS = 12;
const CHANNEL = "bench-tabs";

/** This tab, the same after a reload. */
export function tabId() {
  const known = sessionStorage.getItem("bench-tab");
  const id = known || newId();
  sessionStorage.setItem("bench-tab", id);
  return id;
}

/** Take the tab's former bench, else the first that nobody works at: {slot, owner, left}. */
export async function claimSlot(storage) {
  const tabs = new Tabs();
  const owner = newId(); // of this load: a duplicated tab has the same session but is another owner
  const former = Number(sessionStorage.getItem("bench-slot") ?? -1);
  await tabs.ask(ANSWER_MS);
  if (tabs.taken.size) await tabs.askAgain(); // a tab that is just closing answers only once
  const order = [former, ...Array(MOST_SLOTS).keys()].filter((slot) => slot >= 0);
  for (const slot of order) {
    if (slot !== former && (await storage.slot(slot))?.beatAt > Date.now() - LATELY_MS) {
      await tabs.ask(PATIENCE_MS, slot);
    }
    if (tabs.taken.has(slot)) continue;
    const left = await storage.takeSlot(slot, owner, (it) => slot === former || isFree(it));
    if (left === undefined) continue;
    sessionStorage.setItem("bench-slot", slot);
    tabs.answerFor(slot);
    return { slot, owner, left };
  }
  throw new Error("too many tabs of the bench are open");
}

/**
 * Its tab said that it goes (however lately it came), or did not take it just now. A time to come
 * is not just now: the phone's clock was set back.
 */
function isFree({ beatAt, takenAt }) {
  return beatAt === GONE || !(Math.abs(Date.now() - takenAt) < JUST_TAKEN_MS);
}

/** The open tabs of this phone, as far as they have answered: `taken` are the slots they hold. */
class Tabs {
  constructor() {
    this.taken = new Set();
    this.channel = new BroadcastChannel(CHANNEL);
  }

  /** Ask who is there; done after `ms`, or as soon as the tab at `slot` has answered. */
  ask(ms, slot = null) {
    return new Promise((resolve) => {
      const done = setTimeout(resolve, ms);
      this.channel.onmessage = ({ data }) => {
        if (data.kind === "here") this.taken.add(data.slot);
        if (data.kind !== "here" || data.slot !== slot) return;
        clearTimeout(done);
        resolve();
      };
      if (slot !== null && this.taken.has(slot)) resolve();
      this.channel.postMessage({ kind: "who" });
    });
  }

  async askAgain() {
    await new Promise((resolve) => setTimeout(resolve, 2 * ANSWER_MS));
    this.taken.clear();
    await this.ask(ANSWER_MS);
  }

  answerFor(slot) {
    const answer = () => this.channel.postMessage({ kind: "here", slot });
    this.channel.onmessage = ({ data }) => data.kind === "who" && answer();
    addEventListener("pagehide", () => this.channel.close());
  }
}
