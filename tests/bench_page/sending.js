import { Sender } from "/page/sender.js";
import { equal, test } from "./harness.js";

/** What the sender needs of the phone's database, with nothing in it that waits. */
class Shelf {
  constructor() {
    this.shared = new Map();
  }

  posts = 0;
  some = async () => [];
  counts = async () => ({ waiting: 0, refused: 0, posts: this.posts });
  get = async (key) => this.shared.get(key);

  async update(key, change) {
    const value = change(this.shared.get(key));
    if (value !== undefined) this.shared.set(key, value);
    return value;
  }
}

/** A sender that asks for lists once; `meanwhile` happens while the server works on the answer. */
async function askForLists(meanwhile, posts = 0) {
  const [storage, heard, fetched] = [new Shelf(), [], window.fetch];
  storage.posts = posts;
  window.fetch = async () => {
    meanwhile(storage);
    return new Response(JSON.stringify({ products: [], batches: [] }));
  };
  const sender = new Sender({
    storage,
    device: "phone-0001",
    tab: "this tab",
    isoNow: () => "",
    report: async () => {},
    unlisted: () => ({ counts: {}, batches: ["of this phone"] }),
    listed: async (lists, covered) => void heard.push(covered.batches),
  });
  await sender.fetchLists().catch(() => {});
  window.fetch = fetched;
  return { heard, wantsLists: sender.wantsLists };
}

test("lists that come while nobody else sends are taken", async () => {
  equal(await askForLists(() => {}), { heard: [["of this phone"]], wantsLists: false });
});

test("a batch the server has not been told of is not taken to be in its lists", async () => {
  equal((await askForLists(() => {}, 1)).heard, [[]]);
});

test("lists that took so long that another tab may have sent are asked for again", async () => {
  const another = (storage) => storage.shared.set("lease", { tab: "another tab", until: 0 });
  equal(await askForLists(another), { heard: [], wantsLists: true });
});
