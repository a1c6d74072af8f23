import { Catalogue, spread } from "/page/catalogue.js";
import { Clock } from "/page/clock.js";
import { toCsv } from "/page/csv.js";
import { becameDry, dryingGroups, startDrying } from "/page/drying.js";
import { newId } from "/page/ids.js";
import { isoWithOffset, makeLap } from "/page/laps.js";
import { paceState, tooFast } from "/page/pace.js";
import { newState } from "/page/state.js";
import { keepOwnBatches, median, pieceNumbers, piecesDone, piecesMarked, recount } from "/page/tally.js";
import { clockTime, marksOf, span } from "/page/words.js";
import { LISTS, equal, test } from "./harness.js";

/** A phone whose two clocks the test sets. */
class Hands {
  constructor(changes = 0) {
    this.wall = 1_000_000;
    this.monotonic = 500;
    this.clock = new Clock({ wall: () => this.wall, monotonic: () => this.monotonic, changes });
  }

  pass(ms) {
    this.wall += ms;
    this.monotonic += ms;
    return this;
  }
}

test("the clock set back an hour changes no duration", () => {
  const hands = new Hands();
  const start = hands.clock.now();
  hands.pass(4000).wall -= 3_600_000;
  equal(hands.clock.check(), { kind: "clock_changed", seconds: -3600 });
  hands.pass(1000);
  equal([hands.clock.now() - start, hands.clock.toWall(start)], [5000, 1_000_000 - 3_600_000]);
});

test("wall time that ran on while the page was hidden is sleep, and counts", () => {
  const hands = new Hands();
  const start = hands.clock.now();
  hands.clock.hidden();
  hands.pass(1000).wall += 60_000;
  equal(hands.clock.check(), { kind: "sleep", seconds: 60 });
  equal([hands.clock.now() - start, hands.clock.changes], [61_000, 0]);
});

test("a jump ahead in sight is a changed clock, until the server's clock says it was sleep", () => {
  const hands = new Hands();
  const start = hands.clock.now();
  hands.clock.serverSays(70);
  hands.pass(1000).wall += 60_000;
  equal(hands.clock.check().kind, "clock_changed");
  equal(hands.clock.now() - start, 1000);
  equal(hands.clock.serverSays(90), { kind: "sleep", seconds: 60 });
  equal([hands.clock.now() - start, hands.clock.changes], [61_000, 0]);
});

test("a clock that was really set on stays a changed clock when the server answers", () => {
  const hands = new Hands();
  hands.clock.serverSays(0);
  hands.pass(1000).wall += 60_000;
  hands.clock.check();
  equal([hands.clock.serverSays(-60_000), hands.clock.changes], [null, 60_000]);
});

test("small corrections of the clock over the network go unmentioned", () => {
  const hands = new Hands();
  hands.pass(1000).wall += 300;
  equal(hands.clock.check(), null);
});

test("after a reload time goes on where it stood, a changed clock left out", () => {
  const hands = new Hands();
  hands.pass(1000).wall -= 3_600_000;
  hands.clock.check();
  const before = hands.clock.now();
  const after = new Clock({ wall: () => hands.wall, monotonic: () => 0, changes: hands.clock.changes });
  equal(after.now() - before, 0);
});

test("a clock set back while the page was closed makes no lap negative", () => {
  const hands = new Hands();
  const alive = hands.clock.now() + 500_000;
  equal(hands.clock.notBefore(alive).kind, "clock_changed");
  equal(hands.clock.now(), alive);
});

test("a start is sent with the phone's own offset", () => {
  const text = isoWithOffset(1_764_057_600_123);
  equal(Date.parse(text), 1_764_057_600_123);
  equal(/^2025-11-2\dT\d\d:\d\d:00\.123[+-]\d\d:\d\d$/.test(text), true);
});

test("text that a spreadsheet would run stands behind an apostrophe in the copy", () => {
  const lap = makeLap({ lap_id: "a", start: 0, seconds: 5, product: "=1+1", operation: "a,b", note: 'say "x"', cause: "'quoted" });
  const [, row] = toCsv([lap, { ...lap, removed: true }]).split("\r\n");
  equal(toCsv([{ ...lap, product: "\uff1d1" }]).includes(`,'\uff1d1,`), true);
  equal(row.includes(`'=1+1,"a,b",`) && row.includes(`,''quoted,`) && row.endsWith(`,100,"say ""x"""`), true);
  equal(toCsv([lap, { ...lap, removed: true }]).split("\r\n").length, 3);
});

test("the copy says what the page marked of a lap, in a column that is there only then", () => {
  const lap = makeLap({ lap_id: "a", start: 0, seconds: 5, product: "p", operation: "o" });
  equal(toCsv([lap]).includes("marks"), false);
  const [head, first, second] = toCsv([lap, { ...lap, flags: ["trial:A", "fixed_here"] }]).split("\r\n");
  equal([head.endsWith(",note,marks"), first.endsWith(",100,,"), second.endsWith(',,"fixed_here, trial:A"')], [true, true, true]);
});

test("what dries is told by batch and operation: first, last, and what is dry already", () => {
  let drying = [];
  for (const endedAt of [0, 30_000]) {
    drying = startDrying(drying, { id: `${endedAt}`, label: "glue 012", group: "g", units: 1, endedAt, waitSeconds: 60 });
  }
  equal(dryingGroups(drying, 70_000), [{ group: "g", label: "glue 012", firstDue: 60_000, lastDue: 90_000, units: 2, dryUnits: 1 }]);
  equal([becameDry(drying, 59_000, 61_000).length, becameDry(drying, 61_000, 62_000).length], [1, 0]);
});

test("the pace cue has a state before, near and over the aim", () => {
  equal([1, 9, 10].map((seconds) => paceState(seconds, 10)), ["ahead", "nearly", "over"]);
});

test("aiming under the normal time, or where pieces get spoiled, is warned of in seconds", () => {
  equal(tooFast(30, { seconds: 30 }), "");
  equal(tooFast(25, { seconds: 30 }).includes("5 s under the normal time of 30 s"), true);
  equal(tooFast(25, { seconds: 30, rushed_below_seconds: 27 }).startsWith("Below 27 s"), true);
});

test("a route shows what its variant passes, and counts only that variant's pieces", () => {
  const catalogue = new Catalogue(LISTS, newState());
  const names = (variant) => catalogue.operations("notebook", variant).map((row) => row.operation);
  equal(names("marbled"), ["sew", "glue", "check"]);
  equal(names(""), ["sew", "glue", "stamp", "check"]);
  const batch = { quantities: { linen: 13, marbled: 12 } };
  equal(["sew", "stamp"].map((name) => catalogue.pieces(batch, "notebook", name)), [25, 13]);
});

test("batch numbers go on from the shop's and from this phone's", () => {
  const state = { ...newState(), batches: [{ batch: "014", product: "journal", quantities: {} }] };
  equal(new Catalogue(LISTS, state).nextBatch, "015");
  equal(new Catalogue({}, newState()).nextBatch, "001");
  const typed = { ...newState(), batches: ["1e5", "2026112700001", "0x20"].map((batch) => ({ batch })) };
  equal(new Catalogue(LISTS, typed).nextBatch, "012");
});

test("the newest batch is the one with the highest number, however wide it is written", () => {
  const batches = ["999", "1000", "098"].map((batch) => ({ batch, product: "journal", quantities: {} }));
  const catalogue = new Catalogue(LISTS, { ...newState(), batches });
  equal(catalogue.batches("journal").map((b) => b.batch), ["1000", "999", "098"]);
});

test("what finishes a piece is its variant's own last operation", () => {
  const listed = { ...LISTS.products[0], last_operation: "check", last_operations: { "": "tie", "left-open": "tie" } };
  const catalogue = new Catalogue({ ...LISTS, products: [listed] }, newState());
  equal(["left-open", "linen", ""].map((name) => catalogue.lastOperation("notebook", name)), ["tie", "check", "tie"]);
  equal(new Catalogue(LISTS, newState()).lastOperation("notebook", "linen"), "check");
});

test("a batch is spread over its variants piece by piece", () => {
  equal(spread(25, ["a", "b"]), { a: 13, b: 12 });
});

test("pieces done are the server's and those tapped since", () => {
  const counts = { '["notebook","012","sew","linen"]': 2, '["notebook","012","sew",""]': 1, '["notebook","011","sew","linen"]': 5 };
  const listed = { done: { sew: 10 }, done_by_variant: { sew: { linen: 4 } } };
  const place = { product: "notebook", batch: "012", operation: "sew" };
  equal(piecesDone(listed, counts, place), 13);
  equal(piecesDone(listed, counts, place, "linen"), 6);
  equal(piecesDone(null, counts, { ...place, product: "journal" }), 0);
});

test("a finished batch that the server lists no more keeps its count at the bench", () => {
  const known = [{ product: "notebook", batch: "012", quantities: { linen: 25 }, done: { sew: 20 } }];
  const covered = { '["notebook","012","sew","linen"]': 5, '["notebook","013","sew","linen"]': 9 };
  const lanes = [{ product: "notebook", batch: "012" }];
  const [batch] = keepOwnBatches({ batches: [] }, known, covered, lanes).batches;
  equal([batch.done, batch.quantities], [{ sew: 25 }, { linen: 25 }]);
  equal(keepOwnBatches({ batches: [batch] }, known, covered, lanes).batches, [batch]);
});

test("ids are random UUIDs of version 4", () => {
  const ids = Array.from({ length: 1000 }, newId);
  equal(new Set(ids).size, 1000);
  equal(ids.every((id) => /^[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/.test(id)), true);
});

test("numbers are told as a maker reads them", () => {
  equal([clockTime(67), clockTime(3725), span(9.94), span(42.4), span(312), span(null)], ["1:07", "1:02:05", "9.9 s", "42 s", "5:12", "–"]);
  equal([median([]), median([3, 1, 2]), median([1, 2])], [null, 2, 1.5]);
});

const SEWN = { start: 0, seconds: 9, product: "notebook", batch: "7", operation: "sew" };
const made = (fields) => makeLap({ lap_id: newId(), ...SEWN, ...fields });

test("lost pieces and those to put right are counted, here and by the server together", () => {
  const laps = [
    made({ scrap_units: 1 }),
    made({ units: 5, rework_units: 2 }),
    made({ rework_units: 1, flags: ["fixed_here"] }),
    made({ activity: "rework" }),
  ];
  const counts = laps.reduce((sum, lap) => recount(sum, null, lap), {});
  const listed = { product: "notebook", batch: "7", done: { sew: 10 }, lost: { sew: 1 }, to_mend: { sew: 1 } };
  const place = { product: "notebook", batch: "7", operation: "sew" };
  equal(piecesDone(listed, counts, place), 17);
  equal(piecesMarked(listed, counts, place), { lost: 2, toMend: 2 });
  equal(marksOf(17, { lost: 2, toMend: 2 }), "13 good, 2 to put right, 2 lost");
  equal([marksOf(7, { lost: 0, toMend: 0 }), marksOf(7, { lost: 1, toMend: 0 })], ["", "6 good, 1 lost"]);
  const [kept] = keepOwnBatches({ batches: [] }, [listed], counts, [place]).batches;
  equal(piecesMarked(kept, {}, place), { lost: 2, toMend: 2 });
});

test("a lap knows which piece of its batch it was, also after one was taken away", () => {
  const laps = [
    made({ lap_id: "a" }),
    made({ lap_id: "b", removed: true }),
    made({ lap_id: "c", activity: "delay" }),
    made({ lap_id: "d", units: 3 }),
    made({ lap_id: "e" }),
  ];
  const numbers = pieceNumbers(laps, () => 12);
  equal([...numbers], [["e", [12, 12]], ["d", [9, 11]], ["a", [8, 8]]]);
});
