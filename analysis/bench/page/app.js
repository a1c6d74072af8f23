// The bench as a whole: what is known, what happens to it, and what the top line says. A tap's way:
// press -> dispatch -> reduce -> storage -> screen -> sender.

import { Catalogue } from "./catalogue.js";
import { toCsv } from "./csv.js";
import { element } from "./dom.js";
import { newId } from "./ids.js";
import { isoWithOffset } from "./laps.js";
import { Light } from "./light.js";
import { reduce } from "./machine.js";
import { NextTask } from "./next.js";
import { Presses } from "./press.js";
import { Sender } from "./sender.js";
import { listsCame } from "./sheet.js";
import * as mendSheets from "./sheets_mend.js";
import * as phoneSheets from "./sheets_phone.js";
import * as workSheets from "./sheets_work.js";
import { tabId } from "./slots.js";
import { buzz, soundPace, wakeSound } from "./sound.js";
import { newState } from "./state.js";
import { OpenElsewhere, StorageFull } from "./storage.js";
import { keepOwnBatches } from "./tally.js";
import { OTHER, render, targetElement } from "./view.js";
import { span, taps } from "./words.js";

const AFTER_PICTURE_MS = 40; // the screen answers the thumb first, then the lap is sent
const LISTS_SOON_MS = 2_000;

export class App {
  constructor({ storage, clock, device, place, lists }) {
    Object.assign(this, { storage, clock, device, place, lists });
    this.state = { ...newState(), ...place.left?.state };
    this.pending = [];
    this.steps = 0;
    this.keptChanges = clock.changes;
    this.counts = { waiting: 0, refused: 0, posts: 0 };
    this.status = "connecting"; // until the first answer, or until none came
    this.trouble = null;
    this.notice = null;
    this.paces = new Map();
    this.presses = new Presses((press) => this.pressed(press));
    this.light = new Light();
    this.next = new NextTask(storage, () => render(this));
    this.sender = new Sender({
      storage,
      device,
      tab: tabId(),
      isoNow: () => this.isoNow(),
      report: (news) => this.heard(news),
      unlisted: () => ({ counts: this.state.counts, batches: this.state.batches }),
      listed: (lists, covered) => this.takeLists(lists, covered),
    });
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
    this.steps += 1;
    this.nowWait(step);
    render(this);
    const more = step.laps.length || step.posts.length;
    if (more) setTimeout(() => this.sender.wake(), AFTER_PICTURE_MS);
  }

  /** Until the phone's database has been counted again: at least what was just made. */
  nowWait({ laps, posts }) {
    const fresh = laps.filter((lap) => lap.revision === 0).length;
    const waiting = Math.max(this.counts.waiting + fresh, Math.min(1, laps.length));
    this.counts = { ...this.counts, waiting, posts: this.counts.posts + posts.length };
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

  startSide(activity) {
    this.lookAtClock();
    if (!this.activeLane.product) return this.askForWork();
    return this.lane("side", { activity });
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
    const words =
      kind === "sleep"
        ? `The phone slept for ${span(seconds)}; the time counts.`
        : `The phone's clock was set ${seconds < 0 ? "back" : "on"} by ${span(Math.abs(seconds))}; the laps' times are not touched by it.`;
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

  async heard({ status, answer, problem }) {
    if (status) this.status = status;
    const { steps } = this;
    const counts = await this.storage.counts();
    if (steps === this.steps) this.counts = counts; // else a tap came in between, and knows better
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
    const { lanes } = this.state;
    const known = lanes.map(({ product, batch }) => this.catalogue.batch(product, batch));
    const kept = keepOwnBatches(lists, known.filter(Boolean), covered.counts, lanes);
    await this.dispatch({ type: "listed", covered, lists: kept });
    await this.pickFirst();
    listsCame();
    this.next.refresh(this.activeLane.worker).catch(() => {}); // the last answer stands
  }

  /** A new phone begins with the shop's first worker, product and operation. */
  pickFirst() {
    const { catalogue, activeLane } = this;
    if (activeLane.product || !catalogue.products.length) return null;
    return this.lane("beginWith", { worker: catalogue.workers[0], product: catalogue.products[0] });
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
    if (this.trouble)
      return {
        words: `The phone could not keep the tap (${this.trouble}).`,
        buttons: [again, copy],
      };
    const seen = ["OK", () => this.seen()];
    if (this.state.happened) return { words: this.state.happened, buttons: [seen] };
    if (this.notice) return { words: this.notice, buttons: [seen] };
    if (this.status === "not paired")
      return {
        words: "This phone is not let in yet.",
        buttons: [["How", () => this.sheets.queue()]],
      };
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
  return Object.fromEntries(
    Object.entries(sheets).map(([name, open]) => [name, (...rest) => open(app, ...rest)]),
  );
}
