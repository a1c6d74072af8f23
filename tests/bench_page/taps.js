import { Bench, equal, test } from "./harness.js";

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
  equal(bench.state.counts, { '["012","sew","linen"]': 2 });
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
  equal(bench.state.counts, { '["012","sew","linen"]': 24 });
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
