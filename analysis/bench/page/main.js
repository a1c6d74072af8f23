// The bench page: opens the phone's database, takes up the lap that was running, and joins screen,
// presses, clock and sender. A tap's way: press -> dispatch -> reduce -> storage -> screen -> sender.

import { Catalogue } from "./catalogue.js";
import { Clock } from "./clock.js";
import { toCsv } from "./csv.js";
import { byId, element } from "./dom.js";
import { becameDry } from "./drying.js";
import { newId } from "./ids.js";
import { isoWithOffset } from "./laps.js";
import { Light } from "./light.js";
import { reduce } from "./machine.js";
import { pairFromAddress } from "./pairing.js";
import { Presses } from "./press.js";
import { Sender } from "./sender.js";
import { closeSheet } from "./sheet.js";
import * as mendSheets from "./sheets_mend.js";
import * as phoneSheets from "./sheets_phone.js";
import * as workSheets from "./sheets_work.js";
import { BEAT_MS, claimSlot, tabId } from "./slots.js";
import { buzz, soundDry, soundPace, wakeSound } from "./sound.js";
import { NOBODY, newState } from "./state.js";
import { keepOwnBatches } from "./tally.js";
import { OpenElsewhere, StorageFull, openStorage } from "./storage.js";
import { OTHER, render, targetElement, tick } from "./view.js";
import { span, taps, timeOfDay } from "./words.js";

const TICK_MS = 200;
const AFTER_PICTURE_MS = 40; // the screen answers the thumb first, then the lap is sent
const LISTS_MS = 60_000;
const LISTS_SOON_MS = 2_000;
const REST_MS = 12 * 3600 * 1000; // longer than any day at the bench

class App {
  constructor({ storage, clock, device, place, lists }) {
    Object.assign(this, { storage, clock, device, place, lists });
    this.state = { ...newState(), ...place.left?.state };
    this.pending = [];
    this.keptChanges = clock.changes;
    this.counts = { waiting: 0, refused: 0, posts: 0 };
    this.status = "offline";
    this.trouble = null;
    this.notice = null;
    this.paces = new Map();
    this.presses = new Presses((press) => this.pressed(press));
    this.light = new Light(() => {});
    this.sender = new Sender({
      storage, device, tab: tabId(), isoNow: () => this.isoNow(),
      report: (news) => this.heard(news), counted: () => this.state.counts,
      listed: (lists, covered) => this.takeLists(lists, covered),
    }); // prettier-ignore
    this.sheets = bound(this, { ...mendSheets, ...phoneSheets, ...workSheets });
    this.pickOperation = (name) => this.pick("operation", name, this.sheets.newOperation);
    this.pickVariant = (name) => this.pick("variant", name, this.sheets.newVariant);
    this.pickWay = (name) => this.pick("way", name);
  }

  get activeLane() {
    return this.state.lanes[this.state.active];
  }

  get catalogue() {
    if (this.listed?.lists !== this.lists || this.listed?.state !== this.state) {
      this.listed = { lists: this.lists, state: this.state };
      this.listed.catalogue = new Catalogue(this.lists, this.state);
    }
    return this.listed.catalogue;
  }

  isoNow() {
    return isoWithOffset(this.clock.now());
  }

  // --- what happens -------------------------------------------------------------------------

  /** An event of the lane that chips and marks speak of. */
  lane(type, fields = {}) {
    return this.dispatch({ type, lane: this.state.active, ...fields });
  }

  /** Every event is taken at its time, in order, and shown once it is on the phone's disk. */
  dispatch(event, at = this.clock.now()) {
    this.pending.push({ event, at });
    return this.tryAgain();
  }

  /** Take what is pending, unless that is under way. */
  tryAgain() {
    this.pumping ||= this.pump();
    return this.pumping;
  }

  async pump() {
    await null; // so that `pumping` is set before it is cleared
    try {
      while (this.pending.length) await this.takeFirst();
    } catch (error) {
      this.failed(error);
    } finally {
      this.pumping = null;
    }
  }

  async takeFirst() {
    const [{ event, at }] = this.pending;
    const step = this.step(this.state, event, at);
    const { slot, owner } = this.place;
    const record = { slot, owner, state: step.state, aliveAt: this.clock.now() };
    await this.storage.commit(record, { ...step, lists: event.lists });
    this.pending.shift();
    this.state = step.state;
    this.lists = event.lists || this.lists; // shown together with what they make up for
    this.trouble = null;
    this.counts.waiting += step.laps.filter((lap) => lap.revision === 0).length;
    render(this);
    const more = step.laps.length || step.posts.length;
    if (more) setTimeout(() => this.sender.wake(), AFTER_PICTURE_MS);
  }

  step(state, event, at) {
    const catalogue = new Catalogue(this.lists, state);
    return reduce(state, event, { now: at, newId, catalogue });
  }

  /** The tap stays in memory with its time, and is tried again; nothing kept is touched. */
  failed(error) {
    if (error instanceof OpenElsewhere) this.trouble = "elsewhere";
    else this.trouble = error instanceof StorageFull ? "full" : `broken: ${error.message}`;
    render(this);
  }

  pressed({ lane, at, fixed }) {
    wakeSound();
    if (this.state.settings.light && !this.light.wanted) this.light.on();
    this.lookAtClock();
    if (!this.activeLane.product || !this.activeLane.operation) return this.askForWork();
    if (fixed) buzz(60);
    if (lane !== this.state.active) this.dispatch({ type: "activate", lane });
    this.dispatch({ type: "tap", lane, fixed }, this.clock.now(at));
  }

  askForWork() {
    return this.activeLane.product ? this.sheets.newOperation() : this.sheets.work();
  }

  pick(field, name, typeName) {
    if (name === OTHER) return this.activeLane.product ? typeName() : this.sheets.work();
    this.lane("choose", { fields: { [field]: name } });
  }

  settings(settings) {
    return this.dispatch({ type: "settings", settings });
  }

  setLight(on) {
    on ? this.light.on() : this.light.off();
    return this.settings({ light: on });
  }

  dryTapped({ group, label }, dry) {
    if (dry) this.dispatch({ type: "dryDone", group });
    else this.say(`${label} is still drying; it sounds when it is dry.`);
  }

  paceChanged(lane, pace) {
    const before = this.paces.get(lane.worker);
    this.paces.set(lane.worker, pace);
    const { on, sound, vibrate } = this.state.settings.pace;
    if (!on || before === pace || !["nearly", "over"].includes(pace)) return;
    if (sound) soundPace();
    if (vibrate) buzz(pace === "over" ? [80, 60, 80] : 40);
  }

  // --- clock --------------------------------------------------------------------------------

  lookAtClock() {
    this.clockHappened(this.clock.check(document.visibilityState === "hidden"));
  }

  async clockHappened(happened) {
    if (!happened) return;
    await this.keepClock();
    const { kind, seconds } = happened;
    const anyRuns = this.state.lanes.some((lane) => lane.running);
    const words = kind === "sleep" ? `The phone slept for ${span(seconds)}; the time counts.`
      : `The phone's clock was set ${seconds < 0 ? "back" : "on"} by ${span(Math.abs(seconds))}; the laps' times are not touched by it.`; // prettier-ignore
    this.dispatch({ type: "clock", kind, words: anyRuns ? words : "" });
  }

  /** For the next load; a tab that only slept leaves what other tabs have seen of the clock. */
  keepClock() {
    const { changes } = this.clock;
    if (changes === this.keptChanges) return null;
    this.keptChanges = changes;
    return this.storage.put("clock", { changes }).catch((error) => this.failed(error));
  }

  // --- server -------------------------------------------------------------------------------

  heard({ status, counts, answer, problem }) {
    if (status) this.status = status;
    if (counts) this.counts = counts;
    if (problem) this.say(problem);
    if (answer) this.serverClock(answer);
    if (answer && !this.counts.waiting) this.refreshListsSoon();
    render(this);
  }

  serverClock({ startedMs, endedMs, body }) {
    const server = Date.parse(body?.server_time);
    if (Number.isNaN(server)) return;
    this.clockHappened(this.clock.serverSays(server - (startedMs + endedMs) / 2));
    if (!body.clock_corrected || this.toldOff) return;
    this.toldOff = true;
    const off = span(Math.abs(body.clock_difference_seconds));
    this.say(`This phone's clock is off by ${off}; the server puts the laps' times right.`);
  }

  /** Ask for the lists again, but not at every tap of a quick hand. */
  refreshListsSoon() {
    clearTimeout(this.listsTimer);
    this.listsTimer = setTimeout(() => this.refreshLists(), LISTS_SOON_MS);
  }

  refreshLists() {
    this.sender.wantsLists = true;
    this.sender.wake();
  }

  async takeLists(lists, covered) {
    const kept = keepOwnBatches(lists, this.lists, covered, this.state.lanes);
    await this.dispatch({ type: "listed", covered, lists: kept });
    this.pickFirst();
  }

  /** A new phone begins with the shop's first worker, product and operation. */
  pickFirst() {
    const { catalogue, activeLane } = this;
    if (activeLane.product || !catalogue.products.length) return;
    const own = catalogue.workers.includes(activeLane.worker) || activeLane.worker !== NOBODY;
    const worker = own ? activeLane.worker : catalogue.workers[0];
    this.lane("choose", { fields: { worker, product: catalogue.products[0] } });
  }

  async mendRefused(lap) {
    await this.storage.sendAgain(lap);
    this.counts = await this.storage.counts();
    this.sender.wake();
  }

  // --- words --------------------------------------------------------------------------------

  say(words) {
    this.notice = words;
    render(this);
  }

  /** The one message on top, the gravest first: {words, buttons}. */
  message() {
    const again = ["Try again", () => this.tryAgain()];
    const copy = ["Save a copy", () => this.saveCopy()];
    const waits = this.pending.filter(({ event }) => event.type === "tap").length;
    if (this.trouble === "full") {
      const words = `This phone's storage is full: ${taps(waits)} could not be kept. Leave this page open and free some space; it tries again by itself. Nothing kept before is lost.`;
      return { words, buttons: [again, copy] };
    }
    if (this.trouble === "elsewhere") {
      const words = "This bench went on in another tab; taps here are not counted.";
      return { words, buttons: [["Use this tab anew", () => location.reload()]] };
    }
    if (this.trouble) return { words: `The phone could not keep the tap (${this.trouble}).`, buttons: [again, copy] };
    const seen = ["OK", () => this.seen()];
    if (this.state.happened) return { words: this.state.happened, buttons: [seen] };
    if (this.notice) return { words: this.notice, buttons: [seen] };
    if (this.status === "not paired") return { words: "This phone is not let in yet.", buttons: [["How", () => this.sheets.queue()]] };
    return null;
  }

  seen() {
    this.notice = null;
    return this.dispatch({ type: "noticed" });
  }

  /** The waiting laps, those sent back, and taps that could not be stored, as a CSV file. */
  async saveCopy() {
    const kept = [...(await this.storage.some("waiting")), ...(await this.storage.some("refused"))];
    const csv = toCsv([...kept, ...this.unstored()]);
    const name = `laps ${isoWithOffset(Date.now()).slice(0, 16).replaceAll(":", "")}.csv`;
    const href = URL.createObjectURL(new Blob([csv], { type: "text/csv" }));
    element("a", { href, download: name }).click();
    setTimeout(() => URL.revokeObjectURL(href), 60_000);
  }

  unstored() {
    let { state } = this;
    return this.pending.flatMap(({ event, at }) => {
      const step = this.step(state, event, at);
      state = step.state;
      return step.laps;
    });
  }

  newTarget(lane) {
    const target = targetElement();
    this.presses.bindTarget(target, () => lane);
    return target;
  }
}

/** Sheets called with the app first, whatever else they take. */
function bound(app, sheets) {
  return Object.fromEntries(Object.entries(sheets).map(([name, open]) => [name, (...rest) => open(app, ...rest)]));
}

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
  onClick("pause", () => app.lane("pause"));
  for (const side of byId("sides").querySelectorAll("[data-activity]")) {
    side.addEventListener("click", () => app.startSide(side.dataset.activity));
  }
  onClick("sheet-close", closeSheet);
  byId("sheet").addEventListener("close", () => focusTarget(app));
  // After a thumb's tap the pedal must find the target, whatever was touched before it.
  byId("bench").addEventListener("click", (event) => {
    if (event.detail > 0 && !byId("sheet").open) focusTarget(app);
  });
}

App.prototype.startSide = function startSide(activity) {
  this.lookAtClock();
  if (!this.activeLane.product) return this.askForWork();
  return this.lane("side", { activity });
};

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
    app.storage.alive(slot, owner, app.clock.now(), 0).catch(() => {}); // the next tab need not wait
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

/** A lap was running when the page went away: it goes on, and says so. */
async function takeUp(app) {
  const { aliveAt } = app.place.left || {};
  if (!app.state.lanes.some((lane) => lane.running || lane.aside)) return;
  const setBack = aliveAt ? app.clock.notBefore(aliveAt) : null;
  if (setBack) await app.keepClock();
  const at = (steady) => timeOfDay(app.clock.toWall(steady));
  const gone = aliveAt ? ` from about ${at(aliveAt)} to ${at(app.clock.now())}` : "";
  const words = setBack
    ? "The page was closed and the phone's clock set back meanwhile: the running lap's time is a guess."
    : `The page was closed${gone}; the running lap went on.`;
  await app.dispatch({ type: "clock", kind: "reload", words });
  if (setBack) await app.dispatch({ type: "clock", kind: "clock_changed", words });
}

async function begin() {
  const storage = await openStorage();
  const device = await storage.update("device", (known) => known || newId());
  const { changes = 0 } = (await storage.get("clock")) || {};
  const place = await claimSlot(storage);
  const clock = new Clock({ changes: (await isRested(storage, place)) ? 0 : changes });
  const lists = (await storage.get(`lists ${place.slot}`)) || (await storage.get("lists"));
  const app = new App({ storage, clock, device, place, lists });
  await takeUp(app);
  app.counts = await storage.counts();
  bindButtons(app);
  app.presses.bindKeys(document, (event) => laneOfKey(app, event));
  render(app);
  byId("bench").hidden = false;
  bringUp(app);
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
  if (paired === "refused") app.say("The code was not taken: it serves once and for a short time. Show a new one on the Laps screen.");
  if (paired === "offline") app.say("The server could not be reached; reload this page to try the code again.");
  app.pickFirst();
  app.sender.wake();
}

begin().catch((error) => {
  const cannot = byId("cannot");
  cannot.hidden = false;
  cannot.textContent = `This browser cannot keep laps (${error.message}). Private windows often cannot; open the page in an ordinary one, or close other tabs of it.`;
});
