import { Bench, LISTS, equal, test } from "./harness.js";

test("a tap ends a lap and begins the next, without a gap", () => {
  const bench = new Bench().tap().at(12.5).tap().at(30).tap();
  equal(bench.summary(), [["sew", "operation", 12.5], ["sew", "operation", 17.5]]);
  equal(bench.kept().map((lap) => lap.start), [0, 12500]);
});

test("a pause is nobody's time", () => {
  const bench = new Bench().tap().at(10).do("pause").at(70).tap().at(75).tap();
  equal(bench.summary(), [["sew", "operation", 15]]);
});

test("an interruption is a lap of its own and the piece goes on after it", () => {
  const bench = new Bench().tap().at(10).do("side", { activity: "delay" }).at(40).tap().at(45).tap();
  equal(bench.summary(), [["sew", "operation", 15], ["sew", "delay", 30]]);
});

test("setup before the first piece needs no piece to put aside", () => {
  const bench = new Bench().do("side", { activity: "setup" }).at(90).tap().at(100).tap();
  equal(bench.summary(), [["sew", "setup", 90], ["sew", "operation", 10]]);
});

test("a walk during a setup ends the setup and then goes back to the piece", () => {
  const bench = new Bench().tap().at(5).do("side", { activity: "setup" }).at(25);
  bench.do("side", { activity: "transport" }).at(31).tap().at(34).tap();
  equal(bench.summary(), [["sew", "operation", 8], ["sew", "setup", 20], ["sew", "transport", 6]]);
});

test("the rework chip tapped again ends one and begins the next", () => {
  const bench = new Bench().tap().at(2).do("side", { activity: "rework" }).at(10);
  bench.do("side", { activity: "rework" }).at(19).tap().at(20).tap();
  equal(bench.summary(), [["sew", "operation", 3], ["sew", "rework", 8], ["sew", "rework", 9]]);
});

test("undo gives the lap's time back to the one that runs", () => {
  const bench = new Bench().tap().at(12).tap().at(15).do("undo").at(20).tap();
  equal(bench.summary(), [["sew", "operation", 20]]);
  equal([...bench.laps.values()][0].revision, 1);
});

test("the last five laps can be taken back, and no more", () => {
  const bench = new Bench().tap();
  for (let k = 1; k <= 7; k++) bench.at(10 * k).tap();
  for (let k = 0; k < 9; k++) bench.do("undo");
  equal(bench.kept().length, 2);
  equal(bench.state.counts, { '["notebook","012","sew","linen"]': 2 });
});

test("an interruption taken back leaves the piece as if nothing had come between", () => {
  const bench = new Bench().tap().at(10).do("side", { activity: "delay" }).at(40).tap().do("undo");
  equal(bench.lane().running.activity, "delay");
  bench.at(50).tap().at(55).tap();
  equal(bench.summary(), [["sew", "operation", 15], ["sew", "delay", 40]]);
});

test("a lost piece ends its lap, and its cause comes as a correction", () => {
  const bench = new Bench().tap().at(9).tap({ mark: "scrap" });
  equal(bench.kept()[0].scrap_units, 1);
  equal(bench.lane().asks[0].kind, "cause");
  bench.do("answer", { fields: { cause: "thread broke" } });
  const [lap] = bench.kept();
  equal([lap.cause, lap.revision, lap.scrap_units], ["thread broke", 1, 1]);
  equal(bench.state.causes, ["thread broke"]);
});

test("the habitual tap after a lost piece or one to put right makes no ghost lap, and says why", () => {
  for (const mark of ["scrap", "rework"]) {
    const bench = new Bench().tap().at(9).tap({ mark }).at(9.8).tap();
    equal(bench.summary(), [["sew", "operation", 9]]);
    const { kind, piece, again } = bench.lane().asks[0];
    equal([kind, piece, again], ["cause", 1, true]);
    bench.do("answer", { fields: { cause: "crooked" } }).at(10.4).tap();
    equal(bench.lane().asks.map((ask) => ask.kind), ["noted"]);
    bench.at(20).tap();
    equal(bench.summary(), [["sew", "operation", 9], ["sew", "operation", 11]]);
    equal(bench.lane().asks, []);
  }
});

test("ordinary taps are as frantic as they like, also some time after a marked piece", () => {
  const bench = new Bench().tap().at(0.3).tap().at(0.6).tap().at(5).tap({ mark: "scrap" });
  bench.at(6.6).tap().at(6.9).tap();
  equal(bench.summary().map((lap) => lap[2]), [0.3, 0.3, 4.4, 1.6, 0.3]);
});

test("two pieces marked one after the other are two, a double tap on a mark is one", () => {
  const bench = new Bench().tap().at(9).tap({ mark: "scrap" }).at(9.2).tap({ mark: "scrap" });
  bench.at(9.5).tap({ mark: "rework" });
  equal(bench.kept().map((lap) => [lap.seconds, lap.scrap_units]), [[9, 1], [0.5, 0]]);
});

test("after a marked piece was taken back the next tap counts at once", () => {
  const bench = new Bench().tap().at(9).tap({ mark: "scrap" }).at(9.5).do("undo").at(10).tap();
  equal(bench.kept().map((lap) => [lap.seconds, lap.scrap_units]), [[10, 0]]);
});

test("an interruption asks for its cause, which then stands on its lap", () => {
  const bench = new Bench().tap().at(10).do("side", { activity: "delay" }).at(40).tap();
  equal(bench.lane().asks.map((ask) => [ask.kind, ask.mark]), [["cause", "delay"]]);
  bench.do("answer", { fields: { cause: "phone rang" } });
  const lap = bench.kept().find((one) => one.activity === "delay");
  equal([lap.cause, lap.seconds], ["phone rang", 30]);
  equal(bench.lane().running.activity, "operation");
});

const TEN = { ...LISTS, batches: [{ product: "notebook", batch: "007", quantities: { linen: 10 }, done: {}, open: true }] }; // prettier-ignore
const kinds = (bench) => bench.lane().asks.map((ask) => ask.kind);

test("a trial asks once, at half of the batch, to change over", () => {
  const bench = new Bench(TEN).do("trial", { ways: { A: "old", B: "new" } }).tap();
  for (let k = 1; k <= 4; k++) bench.at(20 * k).tap();
  equal(kinds(bench), []);
  bench.at(100).tap();
  equal(kinds(bench), ["half"]);
  bench.do("otherWay");
  equal([bench.lane().way, kinds(bench)], ["B", []]);
  for (let k = 6; k <= 9; k++) equal(kinds(bench.at(20 * k).tap()), []);
  equal(bench.kept().map((lap) => lap.flags[0].at(-1)).join(""), "AAAAABBBB");
});

test("a trial by turns is not told to change over, nor is work without a trial", () => {
  const bench = new Bench(TEN).do("trial", { ways: { A: "old", B: "new" } }).tap().at(20).tap();
  bench.do("choose", { fields: { way: "B" } });
  for (let k = 2; k <= 6; k++) equal(kinds(bench.at(20 * k).tap()), []);
  const plain = new Bench(TEN).tap();
  for (let k = 1; k <= 6; k++) equal(kinds(plain.at(20 * k).tap()), []);
});

test("a held target says that this piece was fixed, and asks where the fault came from", () => {
  const bench = new Bench().tap().at(9).tap({ fixed: true });
  bench.do("answer", { fields: { cause_operation: "glue" } });
  const [lap] = bench.kept();
  equal([lap.rework_units, lap.flags, lap.cause_operation], [1, ["fixed_here"], "glue"]);
});

test("fixed here marks the running lap and does not end it", () => {
  const bench = new Bench().tap().at(5).do("fixedHere", { causeOperation: "glue" }).at(9).tap();
  const [lap] = bench.kept();
  equal([lap.seconds, lap.rework_units, lap.cause_operation], [9, 1, "glue"]);
});

test("a tray is one lap of many pieces, and asks once for done, fixed and lost", () => {
  const bench = new Bench().do("tray", { units: 25 }).tap().at(300).tap();
  equal(bench.kept()[0].units, 25);
  equal(bench.lane().asks.map((ask) => ask.kind), ["tray"]);
  bench.do("answer", { fields: { units: 24, rework_units: 2, scrap_units: 1 } });
  const [lap] = bench.kept();
  equal([lap.units, lap.rework_units, lap.scrap_units], [24, 2, 1]);
  equal(bench.state.counts, {
    '["notebook","012","sew","linen"]': 24,
    '["notebook","012","sew","linen","lost"]': 1,
    '["notebook","012","sew","linen","to_mend"]': 2,
  });
});

test("marks on a tray add up and never exceed its pieces", () => {
  const bench = new Bench().do("tray", { units: 2 }).tap();
  for (const mark of ["scrap", "rework", "rework"]) bench.tap({ mark });
  const [lap] = bench.at(60).tap().kept();
  equal([lap.units, lap.rework_units, lap.scrap_units], [2, 1, 1]);
});

test("the number of pieces in one go is remembered by operation", () => {
  const bench = new Bench().do("tray", { units: 5 }).do("choose", { fields: { operation: "glue" } });
  bench.tap().at(40).tap();
  equal(bench.kept()[0].units, 1);
});

test("an inspection is logged as one", () => {
  const bench = new Bench().do("choose", { fields: { operation: "check" } }).tap().at(8).tap();
  equal(bench.summary(), [["check", "inspection", 8]]);
});

test("a mixed stack is tapped as one, without a variant", () => {
  const bench = new Bench().do("choose", { fields: { variant: " mixed" } }).tap().at(8).tap();
  const [lap] = bench.kept();
  equal([lap.variant, lap.flags], ["", ["mixed"]]);
});

test("two ways of working are marked in the laps", () => {
  const bench = new Bench().do("trial", { ways: { A: "old", B: "new" } }).tap().at(8).tap();
  bench.do("choose", { fields: { way: "B" } }).at(15).tap();
  bench.do("trial", { ways: null }).at(20).tap();
  equal(bench.kept().map((lap) => lap.flags), [["trial:A"], ["trial:B"], []]);
});

test("two people on one phone have laps of their own", () => {
  const bench = new Bench().do("people", { count: 2, worker: "helper" });
  bench.tap().at(4).tap({ lane: 1 }).at(10).tap().at(13).tap({ lane: 1 });
  equal(bench.kept().map((lap) => [lap.worker, lap.start, lap.seconds]), [["maker", 0, 10], ["helper", 4000, 9]]);
});

test("a reload, a sleep or a changed clock is written on the lap it fell into, and only there", () => {
  const bench = new Bench().tap().at(5).do("clock", { kind: "sleep", words: "slept" }).at(9).tap().at(12).tap();
  equal(bench.kept().map((lap) => lap.flags), [["sleep"], []]);
});

test("a lap of more than a day is cut to what the contract takes", () => {
  const bench = new Bench().tap().at(200_000).tap();
  equal(bench.kept()[0].seconds, 86_400);
});

test("a note stays with the lap that ran when it was written", () => {
  const bench = new Bench().tap().do("note", { text: "new thread" }).at(5).tap().at(9).tap();
  equal(bench.kept().map((lap) => lap.note), ["new thread", ""]);
});

const FIRST = { worker: "helper", product: "journal" };

test("a new phone begins with the shop's first worker and product", () => {
  const bench = new Bench({ ...LISTS, workers: ["helper", "nina"] }, {}).do("beginWith", FIRST);
  const { worker, product, operation } = bench.lane();
  equal([worker, product, operation], ["helper", "journal", "sew"]);
});

test("a name picked while the lists were on their way stands", () => {
  const bench = new Bench({ ...LISTS, workers: ["helper"] }, { worker: "nina" });
  bench.do("beginWith", FIRST);
  equal([bench.lane().worker, bench.lane().product], ["nina", "journal"]);
});

test("work picked while the lists were on their way stands", () => {
  const bench = new Bench(LISTS, { product: "notebook" }).do("beginWith", FIRST);
  equal([bench.lane().worker, bench.lane().product], ["maker", "notebook"]);
});
