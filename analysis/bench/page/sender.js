// The background sender: posts what waits, tries again with growing pauses, and forgets a lap only
// when the server has acknowledged its id and revision. The server takes the same one twice without
// counting it twice, so a lost answer does no harm.

import { toWire } from "./laps.js";

const BATCH = 500;
const FIRST_PAUSE_MS = 500;
const LONGEST_PAUSE_MS = 10_000;
const ANSWER_WITHIN_MS = 30_000;
const LEASE_MS = 10_000; // one tab of this phone sends; a closed tab's turn ends by itself
const NOT_OFFERED = [404, 405];

export class Sender {
  /**
   * `report(news)` hears {status, answer, problem}; `isoNow()` is steady time; `unlisted()` is what
   * the page knows beyond the lists, {counts, batches}, and `listed(lists, covered)` takes new ones,
   * with what of that is in them.
   */
  constructor({ storage, device, tab, isoNow, report, unlisted, listed }) {
    Object.assign(this, { storage, device, tab, isoNow, report, unlisted, listed });
    this.wantsLists = true;
    this.batch = BATCH;
    this.failures = 0;
    this.running = false;
    this.timer = null;
    this.notOffered = new Set();
  }

  /** Something waits, or the network is back: send now, unless a round is under way. */
  wake() {
    if (this.running) return void (this.again = true);
    clearTimeout(this.timer);
    this.running = true;
    this.rounds().finally(() => {
      this.running = false;
      if (this.again) this.wake(); // woken while the last round was ending
    });
  }

  async rounds() {
    try {
      do {
        this.again = false;
        while (await this.round());
        if (this.wantsLists) await this.fetchLists();
      } while (this.again);
    } catch (error) {
      await this.pauseAfter(error);
    }
    await this.report({});
  }

  /** One post; true while there may be more to send. */
  async round() {
    const laps = await this.storage.some("waiting", this.batch);
    const posts = laps.length ? [] : await this.nextPosts();
    if (!laps.length && !posts.length) return this.success();
    if (!(await this.myTurn())) throw new Pause("another tab sends", LEASE_MS / 4);
    return laps.length ? this.sendLaps(laps) : this.sendPost(posts[0]);
  }

  /**
   * The shop's lists count what the server has, and the page adds what it does not have yet. So
   * they are asked for when nothing waits, and nothing is sent meanwhile: no piece counts twice. An
   * answer that took longer than this tab's turn is of no use: another tab may have sent laps that
   * are in it.
   */
  async fetchLists() {
    if (!(await this.myTurn())) throw new Pause("another tab sends", LEASE_MS / 4);
    const { counts, batches } = this.unlisted();
    const { waiting, posts } = await this.storage.counts();
    const covered = { counts, batches: posts ? [] : batches };
    if (waiting) return void (this.again = true);
    const answer = await ask("/bench/lists", { cache: "no-cache" }, ANSWER_WITHIN_MS);
    this.expectOk(answer);
    if (!Array.isArray(answer.body?.products)) throw new Error("not our server");
    const holder = await this.storage.get("lease");
    if (holder?.tab !== this.tab) throw new Pause("another tab sends", LEASE_MS / 4);
    this.wantsLists = false;
    await this.listed(answer.body, covered);
    await this.report({ status: "sent" });
  }

  async nextPosts() {
    const posts = await this.storage.some("posts", 50);
    return posts.filter((post) => !this.notOffered.has(post.path));
  }

  success() {
    this.failures = 0;
    return false;
  }

  myTurn() {
    const until = Date.now() + LEASE_MS;
    return this.storage
      .update("lease", (held) => {
        const free =
          !held || held.tab === this.tab || !(held.until > Date.now()) || held.until > until;
        return free ? { tab: this.tab, until } : undefined;
      })
      .then((lease) => lease !== undefined);
  }

  async sendLaps(laps) {
    const body = { ...this.envelope(), laps: laps.map(toWire) };
    const answer = await postJson("/laps", body, ANSWER_WITHIN_MS);
    if ([400, 413, 415, 422].includes(answer.status)) return this.smaller(laps, answer);
    this.expectOk(answer);
    const { acknowledged, refused } = answer.body;
    if (!Array.isArray(acknowledged) || !Array.isArray(refused)) throw new Error("not our server");
    await this.storage.settle(
      acknowledged,
      refused.map((one) => named(one, laps)),
    );
    this.batch = BATCH;
    this.failures = 0;
    await this.report({ status: "sent", answer });
    if (!acknowledged.length && !refused.length) throw new Error("the server took none");
    return true;
  }

  /** The whole post was refused: half as many, down to the one lap at fault, which is laid aside. */
  async smaller(laps, answer) {
    if (laps.length > 1) {
      this.batch = Math.ceil(laps.length / 2);
      return true;
    }
    const [{ lap_id, revision }] = laps;
    const problem = answer.body?.error || `the server refused it (${answer.status})`;
    await this.storage.settle(
      [],
      [{ lap_id, revision, column: "", problem, value: "", remedy: "" }],
    );
    this.batch = BATCH;
    return true;
  }

  async sendPost(post) {
    const body = { ...this.envelope(), [post.list]: [post.entry] };
    const answer = await postJson(post.path, body, ANSWER_WITHIN_MS);
    if (NOT_OFFERED.includes(answer.status)) {
      this.notOffered.add(post.path); // kept, and tried again when the page is next opened
      return true;
    }
    const wrong = [400, 413, 415, 422].includes(answer.status);
    if (!wrong) this.expectOk(answer);
    await this.storage.forgetPost(post);
    const refusal = wrong ? answer.body?.error || `status ${answer.status}` : whyRefused(answer);
    await this.report({
      status: "sent",
      problem: refusal && `${post.words} was sent back: ${refusal}`,
    });
    return true;
  }

  envelope() {
    return { device: this.device, sent_at: this.isoNow() };
  }

  expectOk({ status, retryAfter }) {
    if (status === 401 || status === 403) throw new Pause("not paired", LONGEST_PAUSE_MS);
    if (status === 429) throw new Pause("busy", (retryAfter || 1) * 1000);
    if (status !== 200) throw new Error(`status ${status}`);
  }

  pauseAfter(error) {
    this.failures += 1;
    const growing = FIRST_PAUSE_MS * 2 ** Math.min(this.failures - 1, 10);
    const pause = error instanceof Pause ? error.ms : Math.min(growing, LONGEST_PAUSE_MS);
    const jitter = 0.8 + 0.4 * Math.random(); // several phones should not come back in step
    this.timer = setTimeout(() => this.wake(), pause * jitter);
    const status = error instanceof Pause ? error.message : "offline";
    return this.report({ status });
  }
}

/** A refusal with the id of its lap, which the server may not have been able to read. */
function named(refusal, laps) {
  const { lap_id, revision } = laps[refusal.index] || refusal;
  return { ...refusal, lap_id, revision };
}

function whyRefused({ body }) {
  const refusal = body?.refused?.[0];
  return refusal ? `${refusal.column}: ${refusal.problem} ${refusal.remedy}` : "";
}

class Pause extends Error {
  constructor(message, ms) {
    super(message);
    this.ms = ms;
  }
}

/** POST JSON to this server: {status, body, retryAfter, startedMs, endedMs}. */
export function postJson(path, body, withinMs) {
  const headers = { "Content-Type": "application/json" };
  const request = { method: "POST", body: JSON.stringify(body), headers, redirect: "error" };
  return ask(path, { ...request, cache: "no-store" }, withinMs);
}

/** Ask this server: {status, body, retryAfter, startedMs, endedMs}. */
export async function ask(path, request, withinMs) {
  const startedMs = Date.now();
  const stop = new AbortController();
  const timer = setTimeout(() => stop.abort(), withinMs);
  try {
    const signal = stop.signal;
    const answer = await fetch(path, { credentials: "same-origin", signal, ...request });
    const body = await answer.json().catch(() => null);
    const retryAfter = Number(answer.headers.get("Retry-After")) || 0;
    return { status: answer.status, body, retryAfter, startedMs, endedMs: Date.now() };
  } finally {
    clearTimeout(timer);
  }
}
