import { Catalogue } from "/page/catalogue.js";
import { Bench, CHECK, GLUE, LISTS, SEW, equal, test } from "./harness.js";

test("a change of operation takes along what ran since the last tap", () => {
  const bench = new Bench().tap().at(20).tap().at(23);
  bench.do("choose", { fields: { operation: "glue" } }).at(60).tap();
  equal(bench.summary(), [["sew", "operation", 20], ["glue", "operation", 40]]);
});

test("one tap says that the time before the change was a finished piece", () => {
  const bench = new Bench().tap().at(20).tap().at(41);
  bench.do("choose", { fields: { operation: "glue" } }).at(44).do("wasPiece").at(80).tap();
  equal(bench.summary(), [["sew", "operation", 20], ["sew", "operation", 21], ["glue", "operation", 39]]);
});

test("a forgotten switch: everything since then was gluing, in one answer", () => {
  const bench = new Bench().tap();
  for (const at of [20, 60, 100]) bench.at(at).tap();
  const [, second] = bench.kept();
  bench.at(110).do("since", { fromLapId: second.lap_id, fields: { operation: "glue" } }).at(140).tap();
  equal(bench.summary(), [["sew", "operation", 20], ["glue", "operation", 40], ["glue", "operation", 40], ["glue", "operation", 40]]);
  equal(bench.kept()[1].flags, ["mended"]);
  equal(bench.state.counts, { '["notebook","012","sew","linen"]': 1, '["notebook","012","glue","linen"]': 3 });
});

test("the change of operation offers to take the laps before it along", () => {
  const bench = new Bench().tap().at(20).tap().at(60).tap().at(61);
  bench.do("choose", { fields: { operation: "glue" } });
  equal(bench.lane().asks[0].since, { id: bench.kept()[0].lap_id, start: 0, count: 2 });
});

test("over three times the usual asks whether one was away, and splits the rest off as delay", () => {
  const bench = new Bench().tap().at(61).tap();
  const [ask] = bench.lane().asks;
  equal([ask.kind, ask.usual], ["away", 20]);
  bench.do("away", { lapId: ask.lap_id, keptSeconds: ask.usual });
  equal(bench.summary(), [["sew", "operation", 20], ["sew", "delay", 41]]);
  equal(bench.kept().map((lap) => [lap.start, lap.flags]), [[0, ["away_split"]], [20000, ["away_split"]]]);
});

test("three times the usual is not yet worth a question", () => {
  equal(new Bench().tap().at(60).tap().lane().asks, []);
});

test("an away split can be taken back with its lap", () => {
  const bench = new Bench().tap().at(61).tap();
  bench.do("away", { lapId: bench.lane().asks[0].lap_id, keptSeconds: 20 }).do("undo").at(70).tap();
  equal(bench.summary(), [["sew", "operation", 70]]);
});

test("a coarse lap is split into its operations and loses no second", () => {
  const bench = new Bench(LISTS, { product: "notebook", operation: "sew + glue", variant: "linen" });
  bench.tap().at(90).tap();
  const [lap] = bench.kept();
  equal(lap.flags, ["joined"]);
  const parts = [{ operation: "sew", seconds: 30 }, { operation: "glue", seconds: 60 }];
  bench.do("split", { lapId: lap.lap_id, parts });
  equal(bench.summary(), [["sew", "operation", 30], ["glue", "operation", 60]]);
  equal(bench.kept().map((one) => [one.start, one.units, one.flags]), [[0, 1, ["split"]], [30000, 1, ["split"]]]);
});

test("a lap from memory says that it is one", () => {
  const bench = new Bench().at(1000).do("memory", { fields: { operation: "glue", start: 0, seconds: 600, units: 12 } });
  const [lap] = bench.kept();
  equal([lap.operation, lap.seconds, lap.units, lap.flags], ["glue", 600, 12, ["from_memory"]]);
});

test("a lap from memory keeps its variant, though it be called mixed, and a mixed stack has none", () => {
  const remembered = (variant) => {
    const bench = new Bench(LISTS, { product: "notebook", operation: "glue", variant }).at(1000);
    bench.do("memory", { fields: { operation: "glue", start: 0, seconds: 600 } });
    return bench.kept()[0].variant;
  };
  equal([remembered("mixed"), remembered(" mixed")], ["mixed", ""]);
});

test("a removed lap no longer counts", () => {
  const bench = new Bench().tap().at(20).tap();
  bench.do("remove", { lapId: bench.kept()[0].lap_id });
  equal([bench.kept(), bench.state.counts['["notebook","012","sew","linen"]']], [[], 0]);
});

test("every glue-up starts to dry, several at once, and a lap taken back dries no more", () => {
  const bench = new Bench().do("choose", { fields: { operation: "glue" } }).tap().at(40).tap().at(80).tap();
  equal(bench.state.drying.map((entry) => entry.due), [640_000, 680_000]);
  bench.do("undo");
  equal(bench.state.drying.length, 1);
});

test("a mixed stack dries and is checked as the rows of its variants say", () => {
  const press = { ...GLUE, operation: "press", variant: "linen" };
  const look = { ...CHECK, operation: "look", variant: "linen" };
  const notebook = { ...LISTS.products[0], operations: [SEW, press, look] };
  const lists = { ...LISTS, products: [notebook] };
  const mixed = (operation) => new Bench(lists, { product: "notebook", operation, variant: " mixed" });
  equal(mixed("press").tap().at(40).tap().state.drying.length, 1);
  equal(mixed("look").tap().at(40).tap().kept()[0].activity, "inspection");
});

test("two products whose batches have one number are counted and dry apart", () => {
  const lists = { ...LISTS, products: [LISTS.products[0], { ...LISTS.products[1], operations: [SEW, GLUE] }] };
  const bench = new Bench(lists, { product: "notebook", operation: "glue", variant: "linen", batch: "7" });
  bench.tap().at(40).tap().do("choose", { fields: { product: "journal", batch: "7", operation: "glue" } });
  bench.at(80).tap();
  equal(Object.values(bench.state.counts), [1, 1]);
  equal(new Set(bench.state.drying.map((entry) => entry.group)).size, 2);
});

test("a batch numbers itself and holds a quantity for each variant", () => {
  const bench = new Bench().tap();
  equal([bench.lane().batch, bench.posts[0].entry.quantities], ["012", { linen: 13, marbled: 12 }]);
  bench.do("choose", { fields: { product: "journal" } });
  equal([bench.lane().batch, bench.posts[1].entry.quantities], ["013", { "": 10 }]);
});

test("more pieces than the batch has are asked about, and one tap begins the next batch with them", () => {
  const bench = new Bench().do("newBatch", { batch: "012", product: "notebook", quantities: { linen: 2 } }).tap();
  equal(bench.at(20).tap().at(40).tap().lane().asks, []);
  bench.at(60).tap().at(80).tap();
  const [ask] = bench.lane().asks;
  equal([ask.kind, ask.over, ask.most], ["over", 2, 2]);
  bench.do("nextBatch", { over: ask.over }).at(100).tap();
  equal(bench.kept().map((lap) => lap.batch), ["012", "012", "013", "013", "013"]);
  equal(bench.state.counts, { '["notebook","012","sew","linen"]': 2, '["notebook","013","sew","linen"]': 3 });
  equal(bench.posts.at(-1).entry.quantities, { linen: 13, marbled: 12 });
  bench.do("undo").do("undo");
  equal([bench.lane().batch, bench.kept().map((lap) => lap.batch)], ["013", ["012", "012", "013"]]);
});

test("a batch that may have more is not asked about at every piece, one that was enlarged not at all", () => {
  const bench = new Bench().do("newBatch", { batch: "012", product: "notebook", quantities: { linen: 1 } }).tap();
  bench.at(20).tap().at(40).tap().do("dismiss").at(60).tap();
  equal(bench.lane().asks, []);
  bench.do("resize", { batch: "012", product: "notebook", quantities: { linen: 9 } });
  equal(bench.posts.at(-1).entry.quantities, { linen: 9 });
});

test("a batch of which nobody said the size keeps it when a piece too many is tapped", () => {
  const heard = { product: "journal", batch: "011", quantities: { "": 10 }, done: { sew: 9 }, open: true, told: false };
  const lists = { ...LISTS, batches: [heard] };
  const bench = new Bench(lists, { product: "journal", operation: "sew" }).tap().at(20).tap();
  equal([bench.lane().asks, bench.posts], [[], []]);
  bench.at(40).tap();
  equal([bench.lane().asks[0].kind, bench.posts[0].entry.quantities], ["over", { "": 10 }]);
  heard.quantities = { "": 4 }; // and one that is still filling up is not asked about
  heard.done = { sew: 4 };
  equal(new Bench(lists, { product: "journal", operation: "sew" }).tap().at(20).tap().lane().asks, []);
});

test("packed pieces go into stock, variant by variant, and the batch is closed", () => {
  const bench = new Bench().tap();
  bench.do("putAway", { batch: "012", product: "notebook", packed: { linen: 13, marbled: 11 } });
  const stock = bench.posts.filter((post) => post.list === "put_away").map(({ entry }) => [entry.variant, entry.pieces]);
  equal(stock, [["linen", 13], ["marbled", 11]]);
  equal([bench.posts.at(-1).entry.open, bench.lane().batch], [false, ""]);
});

test("pieces the server has listed are not counted again", () => {
  const bench = new Bench().tap().at(20).tap().at(40).tap();
  const covered = { counts: bench.state.counts, batches: [] };
  bench.at(60).tap().do("listed", { covered });
  equal(bench.state.counts, { '["notebook","012","sew","linen"]': 1 });
});

test("a batch of this phone is the server's to close once it has been told of it", () => {
  const bench = new Bench().tap();
  const offered = () => new Catalogue(bench.lists, bench.state).batches("notebook").map((one) => one.batch);
  const covered = () => ({ counts: {}, batches: structuredClone(bench.state.batches) });
  const asked = covered();
  bench.do("resize", { batch: "012", product: "notebook", quantities: { linen: 30 } });
  bench.do("listed", { covered: asked }); // of the batch as it was before
  equal(offered(), ["012"]);
  bench.do("listed", { covered: covered() });
  equal(offered(), []);
});
