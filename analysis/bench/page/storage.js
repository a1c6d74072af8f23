// The phone's own database (IndexedDB). A lap is here, flushed to disk, before the screen moves on,
// and it leaves only when the server has acknowledged it.
//
// waiting   laps to be sent, by lap_id: only the newest revision of each
// refused   laps the server sent back, with the reason, until they are mended
// posts     batches and put-aways to be sent
// slots     the state of each bench (a tab of this phone has a bench of its own)
// shared    device, clock, the sender's turn, and the shop's lists as each bench last heard them

const NAME = "bench";
const STORES = { waiting: "lap_id", refused: "lap_id", posts: "id", slots: "slot", shared: "key" };

export class StorageFull extends Error {}
export class OpenElsewhere extends Error {}

export function openStorage() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [store, keyPath] of Object.entries(STORES)) {
        request.result.createObjectStore(store, { keyPath });
      }
    };
    request.onsuccess = () => resolve(new Storage(request.result));
    request.onerror = () => reject(request.error);
  });
}

const result = (request) =>
  new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

class Storage {
  constructor(database) {
    this.database = database;
  }

  /**
   * Run `work(stores)` in one transaction; settled when it is on the disk ("strict": flushed
   * through to it). `work` may await only requests of this transaction.
   */
  async transact(names, mode, work, durability = "strict") {
    const transaction = this.database.transaction(names, mode, { durability });
    const finished = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onabort = () => reject(transaction.error || new Error("stopped"));
    });
    const stores = Object.fromEntries(names.map((name) => [name, transaction.objectStore(name)]));
    try {
      const value = await work(stores);
      await finished;
      return value;
    } catch (error) {
      finished.catch(() => {});
      abort(transaction);
      throw isFull(error) || isFull(transaction.error) ? new StorageFull(error.message) : error;
    }
  }

  /**
   * The state of a bench together with the laps and posts that the same tap made, or with the lists
   * that its counts make up for: all or none.
   */
  commit({ slot, owner, state, aliveAt }, { laps, posts, lists = null }) {
    const names = ["slots", "waiting", "refused", "posts", ...(lists ? ["shared"] : [])];
    return this.transact(names, "readwrite", async (stores) => {
      const current = await result(stores.slots.get(slot));
      if (current && current.owner !== owner) throw new OpenElsewhere();
      stores.slots.put({ ...current, slot, owner, state, aliveAt, beatAt: Date.now() });
      for (const lap of laps) {
        stores.waiting.put(lap);
        stores.refused.delete(lap.lap_id);
      }
      for (const post of posts) stores.posts.put(post);
      if (lists) stores.shared.put({ key: `lists ${slot}`, value: lists });
      if (lists) stores.shared.put({ key: "lists", value: lists }); // for a bench yet to be opened
    });
  }

  slot(slot) {
    return this.transact(["slots"], "readonly", ({ slots }) => result(slots.get(slot)));
  }

  /** Make `owner` the only one who may write this bench; the state it was left in, or null. */
  takeSlot(slot, owner, mayTake) {
    return this.transact(["slots"], "readwrite", async ({ slots }) => {
      const current = await result(slots.get(slot));
      if (current && current.owner !== owner && !mayTake(current)) return undefined;
      const now = Date.now();
      slots.put({ slot, state: null, aliveAt: null, ...current, owner, takenAt: now, beatAt: now });
      return current || null;
    });
  }

  /**
   * Note that the page lives: `aliveAt` (steady) so that after a reload it is known how long it was
   * gone, `beatAt` (wall) for other tabs; GONE (slots.js) when it goes.
   */
  alive(slot, owner, aliveAt, beatAt) {
    const work = async ({ slots }) => {
      const current = await result(slots.get(slot));
      if (current && current.owner !== owner) throw new OpenElsewhere();
      if (current) slots.put({ ...current, aliveAt, beatAt });
    };
    return this.transact(["slots"], "readwrite", work, "relaxed");
  }

  async get(key) {
    const found = await this.transact(["shared"], "readonly", (s) => result(s.shared.get(key)));
    return found?.value;
  }

  put(key, value) {
    return this.transact(["shared"], "readwrite", ({ shared }) => void shared.put({ key, value }));
  }

  /** Change a shared value in one transaction, so that two tabs cannot overwrite each other. */
  update(key, change) {
    return this.transact(["shared"], "readwrite", async ({ shared }) => {
      const value = change((await result(shared.get(key)))?.value);
      if (value !== undefined) shared.put({ key, value });
      return value;
    });
  }

  some(store, count) {
    return this.transact([store], "readonly", (s) => result(s[store].getAll(null, count)));
  }

  async counts() {
    return this.transact(["waiting", "refused", "posts"], "readonly", async (stores) => {
      const [waiting, refused, posts] = await Promise.all([
        result(stores.waiting.count()),
        result(stores.refused.count()),
        result(stores.posts.count()),
      ]);
      return { waiting, refused, posts };
    });
  }

  /** Forget acknowledged laps and lay refused ones aside; a revision made since stays. */
  settle(acknowledged, refused) {
    return this.transact(["waiting", "refused"], "readwrite", async (stores) => {
      const settleOne = async ({ lap_id, revision }, reason) => {
        const lap = await result(stores.waiting.get(lap_id));
        if (!lap || lap.revision > revision) return;
        stores.waiting.delete(lap_id);
        if (reason) stores.refused.put({ ...lap, reason });
      };
      await Promise.all([
        ...acknowledged.map((known) => settleOne(known, null)),
        ...refused.map((known) => settleOne(known, known)),
      ]);
    });
  }

  /** Forget a post that the server has, unless it was changed while it was under way. */
  forgetPost({ id, turn }) {
    return this.transact(["posts"], "readwrite", async ({ posts }) => {
      const current = await result(posts.get(id));
      if (current?.turn === turn) posts.delete(id);
    });
  }

  /** A refused lap, mended: back among the waiting, one revision on. */
  sendAgain(lap) {
    return this.transact(["waiting", "refused"], "readwrite", (stores) => {
      stores.refused.delete(lap.lap_id);
      stores.waiting.put(lap);
    });
  }
}

const isFull = (error) => error?.name === "QuotaExceededError";

function abort(transaction) {
  try {
    transaction.abort();
  } catch {
    // already aborted by the failure itself
  }
}
