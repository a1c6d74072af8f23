// Sheets that say what the laps belong to: worker, product, batch, operation, variant, trial.

import { quantity, spread } from "./catalogue.js";
import {
  button,
  chips,
  choices,
  closeSheet,
  field,
  fromShop,
  heading,
  mainButton,
  newName,
  openSheet,
  say,
  stepper,
} from "./sheet.js";
import { piecesDone } from "./tally.js";
import { pieces } from "./words.js";

/** Who works, and whether two share this phone. */
export function worker(app) {
  openSheet("Who works here", (redraw) => {
    const two = app.state.lanes.length > 1;
    const pick = (name) => app.lane("choose", { fields: { worker: name } }).then(closeSheet);
    const use = (name) =>
      app.dispatch({ type: "typed", kind: "workers", name }).then(() => pick(name));
    const other = () =>
      app.catalogue.workers.find((name) => name !== app.activeLane.worker) || "helper";
    const people = (count) =>
      app.dispatch({ type: "people", count, worker: other() }).then(redraw);
    return [
      fromShop(() => [choices(app.catalogue.workers, app.activeLane.worker, pick)]),
      newName("Somebody new", use),
      heading("Two people, one phone"),
      say(
        two
          ? "The phone shows two targets. Space and Page Down are the left one, Enter the right one. Tap the name at the top to change the person of the target last used."
          : "Prop the phone up between you: it shows two targets, each with its own laps.",
      ),
      button(two ? "One target again" : "Two targets", () => people(two ? 1 : 2)),
      heading("Two people, two phones"),
      say(
        "Pick the same batch on both phones: the counts of each operation add up as soon as both have sent their laps.",
      ),
    ];
  });
}

/** Product and batch. */
export function work(app) {
  openSheet("What is made", (redraw) => {
    const pickProduct = (product) => app.lane("choose", { fields: { product } }).then(redraw);
    const use = (name) =>
      app.dispatch({ type: "typed", kind: "products", name }).then(() => pickProduct(name));
    return [
      fromShop(() => {
        const known = app.catalogue.products;
        return known.length ? [heading("Product"), choices(known, app.activeLane.product, pickProduct)] : [];
      }),
      newName("Another product", use),
      fromShop(() => batchParts(app)),
    ];
  });
}

/** The open batches of the lane's product, and what can be done with the one chosen. */
function batchParts(app) {
  const { product, batch } = app.activeLane;
  if (!product) return [];
  const pick = (name) => app.lane("choose", { fields: { batch: name } }).then(closeSheet);
  const open = new Map(app.catalogue.batches(product).map((one) => [one.batch, one]));
  return [
    heading("Batch"),
    choices([...open.keys()], batch, pick, (name) => batchWords(app, open.get(name))),
    chips(
      mainButton("New batch", () => newBatch(app)),
      batch && button(`Batch ${batch} has more or fewer pieces`, () => batchSize(app)),
      batch && button(`Batch ${batch} is packed: put into stock`, () => putAway(app)),
    ),
  ];
}

function batchWords(app, batch) {
  const total = quantity(batch);
  return total ? `${batch.batch}: ${pieces(total)}` : batch.batch;
}

function newBatch(app) {
  const { product } = app.activeLane;
  const { catalogue } = app;
  openSheet(`New batch of ${product}`, () => {
    const variants = catalogue.variants(product);
    const number = field("Number", { value: catalogue.nextBatch, maxlength: 200 });
    const sizes = spread(catalogue.batchSize(product), variants);
    const steppers = Object.entries(sizes).map(([name, n]) => [name, stepper(name || "pieces", n)]);
    const keep = () => {
      const quantities = Object.fromEntries(steppers.map(([name, s]) => [name, s.read()]));
      const batch = number.read() || catalogue.nextBatch;
      app.lane("newBatch", { batch, product, quantities }).then(closeSheet);
    };
    return [number.box, ...steppers.map(([, s]) => s.box), mainButton("Begin this batch", keep)];
  });
}

/** How many pieces the lane's batch has, by variant. */
export function batchSize(app) {
  const { product, batch: name } = app.activeLane;
  openSheet(`Pieces of batch ${name}`, () => {
    const { catalogue } = app;
    const known = catalogue.batch(product, name)?.quantities || {};
    const variants = Object.keys(known).length ? known : spread(0, catalogue.variants(product));
    const steppers = Object.entries(variants).map(([v, n]) => [v, stepper(v || "pieces", n)]);
    const keep = () => {
      const quantities = Object.fromEntries(steppers.map(([v, s]) => [v, s.read()]));
      app.lane("resize", { batch: name, product, quantities }).then(closeSheet);
    };
    return [...steppers.map(([, s]) => s.box), mainButton("Keep", keep)];
  });
}

/** "25 packed, put into stock" closes the batch. */
function putAway(app) {
  const { product, batch: name } = app.activeLane;
  openSheet(`Batch ${name} into stock`, () => {
    const packed = packedByVariant(app, product, name);
    const steppers = Object.entries(packed).map(([v, n]) => [v, stepper(v || "pieces", n)]);
    const keep = () => {
      const counted = Object.fromEntries(steppers.map(([v, s]) => [v, s.read()]));
      app.lane("putAway", { batch: name, product, packed: counted }).then(closeSheet);
    };
    return [
      say("Good pieces that go onto the shelf. The batch is then closed."),
      ...steppers.map(([, s]) => s.box),
      mainButton("Put into stock", keep),
    ];
  });
}

/** Pieces finished, by variant where that is known, else the batch's quantity. */
function packedByVariant(app, product, name) {
  const { catalogue, state } = app;
  const batch = catalogue.batch(product, name);
  const variants = catalogue.variants(product);
  const planned = batch?.quantities || spread(catalogue.batchSize(product), variants);
  const done = (variant) => {
    const operation = catalogue.lastOperation(product, variant);
    return piecesDone(batch, state.counts, { product, batch: name, operation }, variant);
  };
  return Object.fromEntries(Object.entries(planned).map(([v, n]) => [v, done(v) || n]));
}

export function newOperation(app) {
  const { product } = app.activeLane;
  const use = async (name) => {
    await app.dispatch({ type: "typed", kind: "operations", product, name });
    await app.lane("choose", { fields: { operation: name } });
    closeSheet();
  };
  openSheet("Another operation", () => [newName("What is it called?", use), ...joined(app, use)]);
}

/** Coarse laps: two operations in one go, to be split later. */
function joined(app, use) {
  const picked = new Set();
  return [fromShop(() => joinedParts(app, picked, use))];
}

function joinedParts(app, picked, use) {
  const names = app.catalogue.operations(app.activeLane.product).map((row) => row.operation);
  const single = names.filter((name) => !name.includes(" + "));
  if (single.length < 2) return [];
  const toggle = (name) => (event) => {
    if (!picked.delete(name)) picked.add(name);
    event.currentTarget.setAttribute("aria-pressed", String(picked.has(name)));
  };
  const buttons = single.map((name) => {
    const pressed = { "aria-pressed": String(picked.has(name)) };
    return button(name, toggle(name), pressed);
  });
  const together = () => picked.size > 1 && use(single.filter((n) => picked.has(n)).join(" + "));
  return [
    heading("Several in one go"),
    say(
      "Finishing and packing are one movement? Tap both: the laps count as one operation, and can be split later under Last laps.",
    ),
    chips(...buttons),
    button("Time them as one", together),
  ];
}

export function newVariant(app) {
  const { product } = app.activeLane;
  const use = async (name) => {
    await app.dispatch({ type: "typed", kind: "variants", product, name });
    await app.lane("choose", { fields: { variant: name } });
    closeSheet();
  };
  openSheet("Another variant", () => [newName("What is it called?", use)]);
}

/** Two ways of working, half a batch each. */
export function trial(app) {
  openSheet("Try two ways", () => {
    const { trial: ways } = app.state;
    const a = field("Way A", { value: ways?.A || "as always", maxlength: 100 });
    const b = field("Way B", { value: ways?.B || "the new way", maxlength: 100 });
    const set = (value) => app.dispatch({ type: "trial", ways: value }).then(closeSheet);
    return [
      say(
        "Work half the batch one way and half the other; the laps are marked trial A or trial B, and the page says when half of the batch is done. By turns of five is better still, so that practice favours neither. The marks stay with the laps: they are listed under Laps, Phones, on the dashboard, and the two ways are compared under Putting right, Two ways tried.",
      ),
      a.box,
      b.box,
      mainButton(ways ? "Keep these names" : "Begin the trial", () =>
        set({ A: a.read() || "A", B: b.read() || "B" }),
      ),
      ways && button("End the trial", () => set(null)),
    ];
  });
}
