// Which tab of this phone works at which bench. Each open tab has a bench ("slot") of its own; a
// tab that was closed or killed leaves its bench, running lap included, to the next one that opens.
// Tabs ask each other over a BroadcastChannel, which plain http allows (Web Locks it does not).

import { newId } from "./ids.js";

const ANSWER_MS = 150;
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
  const channel = new BroadcastChannel(CHANNEL);
  const owner = newId(); // of this load: a duplicated tab has the same session but is another owner
  const taken = await slotsInUse(channel);
  const former = Number(sessionStorage.getItem("bench-slot") ?? -1);
  const order = [former, ...Array(MOST_SLOTS).keys()].filter((slot) => slot >= 0);
  for (const slot of order.filter((one) => !taken.has(one))) {
    const isMine = slot === former;
    const mayTake = (current) => isMine || !(Date.now() - current.takenAt < JUST_TAKEN_MS);
    const left = await storage.takeSlot(slot, owner, mayTake);
    if (left !== undefined) return hold(channel, slot, owner, left);
  }
  throw new Error("too many tabs of the bench are open");
}

function hold(channel, slot, owner, left) {
  sessionStorage.setItem("bench-slot", slot);
  const answer = () => channel.postMessage({ kind: "here", slot });
  channel.onmessage = ({ data }) => data.kind === "who" && answer();
  const leave = () => channel.close();
  return { slot, owner, left, leave };
}

function slotsInUse(channel) {
  return new Promise((resolve) => {
    const taken = new Set();
    channel.onmessage = ({ data }) => data.kind === "here" && taken.add(data.slot);
    channel.postMessage({ kind: "who" });
    setTimeout(() => resolve(taken), ANSWER_MS);
  });
}
