import { claimSlot, GONE } from "/page/slots.js";
import { openStorage } from "/page/storage.js";
import { equal, test } from "./harness.js";

/** The phone's real database, with one bench that `old` took a moment ago and left a lap at. */
async function benchOfATabJustLoaded() {
  const storage = await openStorage();
  sessionStorage.clear(); // what a new tab finds
  await storage.transact(["slots"], "readwrite", ({ slots }) => void slots.clear());
  await storage.takeSlot(0, "old", () => true);
  const kept = { slot: 0, owner: "old", state: { lap: "running" }, aliveAt: 1 };
  await storage.commit(kept, { laps: [], posts: [] });
  return storage;
}

async function claimed(storage) {
  const { slot, left } = await claimSlot(storage);
  storage.database.close();
  dispatchEvent(new Event("pagehide")); // this tab closes, and answers the next test no more
  return [slot, left?.state?.lap];
}

test("a tab closed right after it was loaded leaves its running lap to the next", async () => {
  const storage = await benchOfATabJustLoaded();
  await storage.alive(0, "old", 1, GONE); // what the old tab writes as it goes
  equal(await claimed(storage), [0, "running"]);
});

test("a phone that died and woke with its clock set back keeps its running lap", async () => {
  const storage = await benchOfATabJustLoaded();
  const real = Date.now;
  Date.now = () => real() - 3_600_000;
  const found = await claimed(storage).finally(() => (Date.now = real));
  equal(found, [0, "running"]);
});

test("of two tabs that open at once the second does not take the first one's bench", async () => {
  const storage = await benchOfATabJustLoaded();
  storage.slot = async () => null; // the second looked just before the first took it
  equal(await claimed(storage), [1, undefined]);
});
