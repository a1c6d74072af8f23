// The bench page: opens the phone's database, takes up the lap that was running, and joins the
// page's buttons, keys and rhythm to the bench (app.js).

import { App } from "./app.js";
import { Clock } from "./clock.js";
import { byId } from "./dom.js";
import { becameDry } from "./drying.js";
import { newId } from "./ids.js";
import { pairFromAddress } from "./pairing.js";
import { closeSheet, heedFinger } from "./sheet.js";
import { BEAT_MS, claimSlot, GONE } from "./slots.js";
import { buzz, soundDry } from "./sound.js";
import { OpenElsewhere, openStorage } from "./storage.js";
import { render, tick } from "./view.js";
import { timeOfDay } from "./figures.js";

const TICK_MS = 200;
const LISTS_MS = 60_000;
const MOMENT_MS = 60_000;
const REST_MS = 12 * 3600 * 1000; // longer than any day at the bench

// --- the page's buttons and keys --------------------------------------------------------------

function bindButtons(app) {
  const onClick = (id, run) => byId(id).addEventListener("click", run);
  onClick("who", () => app.sheets.worker());
  onClick("work", () => app.sheets.work());
  onClick("queue", () => app.sheets.queue());
  onClick("mark-rework", () => app.lane("tap", { mark: "rework" }));
  onClick("mark-scrap", () => app.lane("tap", { mark: "scrap" }));
  onClick("fixed-here", () => app.sheets.fixedHere());
  onClick("undo", () => app.lane("undo"));
  onClick("more", () => app.sheets.more());
  onClick("next-hide", () => app.next.hide());
  onClick("pause", () => app.lane("pause"));
  for (const side of byId("sides").querySelectorAll("[data-activity]")) {
    side.addEventListener("click", () => app.startSide(side.dataset.activity));
  }
  onClick("sheet-close", closeSheet);
  heedFinger();
  byId("sheet").addEventListener("close", () => focusTarget(app));
  // After a thumb's tap the pedal must find the target, whatever was touched before it.
  byId("bench").addEventListener("click", (event) => {
    if (event.detail > 0 && !byId("sheet").open) focusTarget(app);
  });
}

function focusTarget(app) {
  byId("targets").children[app.state.active]?.focus({ preventScroll: true });
}

/**
 * Space, Enter and Page Down are the target, unless the keyboard has walked to another button or a
 * sheet is open. With two people Enter is the second one's.
 */
function laneOfKey(app, event) {
  const isPageDown = event.key === "PageDown";
  if (!isPageDown && event.key !== " " && event.key !== "Enter") return null;
  if (byId("sheet").open || event.ctrlKey || event.altKey || event.metaKey) return null;
  const focused = document.activeElement;
  const onTarget = focused === document.body || focused?.classList.contains("target");
  if (!isPageDown && !onTarget) return null;
  if (app.state.lanes.length === 1) return 0;
  return event.key === "Enter" ? 1 : 0;
}

// --- the page's rhythm ------------------------------------------------------------------------

function startRhythm(app) {
  let heardAt = app.clock.now();
  setInterval(() => {
    app.lookAtClock();
    tick(app);
    const now = app.clock.now();
    const dry = becameDry(app.state.drying, heardAt, now);
    heardAt = now;
    if (dry.length && app.state.settings.dryingSound) {
      soundDry();
      buzz([120, 80, 120]);
    }
  }, TICK_MS);
  setInterval(() => keepAlive(app), BEAT_MS);
  addEventListener("pagehide", () => {
    const { slot, owner } = app.place;
    // Then the next tab need not wait.
    app.storage.alive(slot, owner, app.clock.now(), GONE).catch(() => {});
  });
  setInterval(() => document.visibilityState === "visible" && app.refreshLists(), LISTS_MS);
  addEventListener("online", () => app.sender.wake());
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") app.clock.hidden();
    else app.sender.wake();
    app.lookAtClock();
  });
  addEventListener("pageshow", (event) => event.persisted && location.reload());
}

function keepAlive(app) {
  const { slot, owner } = app.place;
  if (app.pending.length) app.tryAgain();
  app.storage.alive(slot, owner, app.clock.now(), Date.now()).catch((error) => {
    if (error instanceof OpenElsewhere) app.failed(error);
  });
}

/** How long the page was gone since it was last alive (steady), "" where that is not known. */
function goneFor(clock, aliveAt) {
  if (!aliveAt) return "";
  const now = clock.now();
  const at = (steady) => timeOfDay(clock.toWall(steady));
  if (now - aliveAt < MOMENT_MS) return " for a moment";
  return ` from about ${at(aliveAt)} to ${at(now)}`;
}

/** A lap was running when the page went away: it goes on, and says so. */
async function takeUp(app) {
  const { aliveAt } = app.place.left || {};
  if (!app.state.lanes.some((lane) => lane.running || lane.aside)) return;
  const setBack = aliveAt ? app.clock.notBefore(aliveAt) : null;
  if (setBack) await app.keepClock();
  const words = setBack
    ? "The page was closed and the phone's clock set back meanwhile: the running lap's time is a guess."
    : `The page was closed${goneFor(app.clock, aliveAt)}; the running lap went on.`;
  await app.dispatch({ type: "clock", kind: "reload", words });
  if (setBack) await app.dispatch({ type: "clock", kind: "clock_changed", words });
}

async function begin() {
  const storage = await openStorage();
  const device = await storage.update("device", (known) => known || newId());
  const { changes = 0 } = (await storage.get("clock")) || {};
  const place = await claimSlot(storage);
  const clock = new Clock({ changes: (await isRested(storage, place)) ? 0 : changes });
  const lists = await knownLists(storage, place);
  const app = new App({ storage, clock, device, place, lists });
  await takeUp(app);
  app.counts = await storage.counts();
  await app.next.takeUp();
  bindButtons(app);
  app.presses.bindKeys(document, (event) => laneOfKey(app, event));
  render(app);
  byId("bench").hidden = false;
  bringUp(app);
}

/**
 * The lists as this bench last heard them. Those of another bench may count what this one has not
 * seen listed yet, so where it has counts of its own only the names are taken from them.
 */
async function knownLists(storage, { slot, left }) {
  const own = await storage.get(`lists ${slot}`);
  const others = await storage.get("lists");
  const hasCounts = Object.keys(left?.state?.counts || {}).length > 0;
  if (own || !others || !hasCounts) return own || others;
  return { ...others, batches: [] };
}

/**
 * Nothing runs, waits or can be taken back since long ago: then the clock as it stands is as good
 * as any, and a phone whose clock was put right is not taken to be wrong for ever.
 */
async function isRested(storage, { left }) {
  const { waiting, refused, posts } = await storage.counts();
  const lanes = left?.state?.lanes || [];
  const busy = lanes.some((lane) => lane.running || lane.aside) || left?.state?.drying.length;
  const rested = Date.now() - (left?.aliveAt ?? 0) > REST_MS;
  if (busy || waiting + refused + posts || !rested) return false;
  for (const lane of lanes) Object.assign(lane, { recent: [], undo: [], asks: [] });
  await storage.put("clock", { changes: 0 });
  return true;
}

/** What may come after the first picture: pairing, lists, sending, the worker for no network. */
async function bringUp(app) {
  startRhythm(app);
  navigator.storage?.persist?.().catch(() => {});
  navigator.serviceWorker?.register("/bench/sw.js", { scope: "/bench" }).catch(() => {});
  const paired = await pairFromAddress();
  if (paired === "paired") app.say("This phone is let in.");
  if (paired === "refused")
    app.say(
      "The code was not taken: it serves once and for a short time. Show a new one on the Laps screen.",
    );
  if (paired === "offline")
    app.say("The server could not be reached; reload this page to try the code again.");
  app.pickFirst();
  app.sender.wake();
}

begin().catch((error) => {
  const cannot = byId("cannot");
  cannot.hidden = false;
  cannot.textContent = `This browser cannot keep laps (${error.message}). Private windows often cannot; open the page in an ordinary one, or close other tabs of it.`;
});
