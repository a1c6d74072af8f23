// Sheets that set things right: last laps, the forgotten switch, causes, trays, from memory.

import { number, timeOfDay } from "./figures.js";
import { isWork, isoWithOffset } from "./laps.js";
import { usualSeconds } from "./tapping.js";
import { FIXED, median, pieceNumbers, piecesDone } from "./tally.js";
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
  numberField,
  openSheet,
  say,
  stepper,
} from "./sheet.js";
import { element } from "./dom.js";
import { laps as lapWords, pieces, span } from "./words.js";

const SHOWN = 5;
const ACTIVITY_WORDS = {
  setup: "setup",
  transport: "a walk",
  delay: "an interruption",
  rework: "putting right",
};

const startOf = (app, lap) => timeOfDay(app.clock.toWall(lap.start));

/** The last five laps, each with what can be changed about it. */
export function lastLaps(app) {
  openSheet("Last laps", (redraw) => {
    const lane = app.activeLane;
    const last = lane.recent
      .filter((lap) => !lap.removed)
      .slice(-SHOWN)
      .reverse();
    if (!last.length) return [say("No lap yet.")];
    const numbers = numbersOf(app, lane);
    return last.map((lap) => lapBox(app, lap, numbers.get(lap.lap_id), redraw));
  });
}

function numbersOf({ catalogue, state }, lane) {
  return pieceNumbers(lane.recent, (lap) =>
    piecesDone(catalogue.batch(lap.product, lap.batch), state.counts, lap),
  );
}

function lapBox(app, lap, placed, redraw) {
  const edit = (fields) => app.lane("edit", { lapId: lap.lap_id, fields }).then(redraw);
  const remove = () => app.lane("remove", { lapId: lap.lap_id }).then(redraw);
  const one = lap.units === 1;
  const rework = () =>
    one
      ? edit({ rework_units: 1 - lap.rework_units, scrap_units: 0 })
      : trayCount(app, lap.lap_id, lap.units);
  const scrap = () =>
    one
      ? edit({ scrap_units: 1 - lap.scrap_units, rework_units: 0 })
      : trayCount(app, lap.lap_id, lap.units);
  const pressed = (on) => ({ "aria-pressed": String(on > 0) });
  return element(
    "article",
    { class: "lap" },
    element("p", { text: lapHead(lap, placed), class: "lap-head" }),
    say(lapLine(app, lap)),
    chips(
      isWork(lap) && button("To put right", rework, pressed(lap.rework_units)),
      isWork(lap) && button("Lost", scrap, pressed(lap.scrap_units)),
      button("Cause", () => cause(app, lap.lap_id)),
      button("Note", () => lapNote(app, lap)),
      isWork(lap) && button("Away for a while", () => awaySheet(app, lap)),
      lap.operation.includes(" + ") && button("Split", () => split(app, lap)),
      button("Remove", remove),
    ),
  );
}

/** "Piece 7: 42 s", "Pieces 1 to 25: 12:30", "An interruption: 3:10". */
function lapHead(lap, placed) {
  const [first, last] = placed || [];
  const which = first === last ? `Piece ${number(last)}` : `Pieces ${number(first)} to ${number(last)}`;
  const side = ACTIVITY_WORDS[lap.activity];
  const what = placed ? which : `${side[0].toUpperCase()}${side.slice(1)}`;
  return `${what}: ${span(lap.seconds)}`;
}

function lapLine(app, lap) {
  const parts = [lap.operation, lap.variant, `began ${startOf(app, lap)}`];
  if (lap.units > 1) parts.push(pieces(lap.units));
  if (lap.rework_units) parts.push(`${number(lap.rework_units)} to put right`);
  if (lap.scrap_units) parts.push(`${number(lap.scrap_units)} lost`);
  if (lap.cause) parts.push(`cause: ${lap.cause}`);
  if (lap.cause_operation) parts.push(`from ${lap.cause_operation}`);
  if (lap.note) parts.push(lap.note);
  return parts.filter(Boolean).join(", ");
}

function lapNote(app, lap) {
  const note = field("Note", { value: lap.note, maxlength: 500 });
  const keep = () =>
    app
      .lane("edit", { lapId: lap.lap_id, fields: { note: note.read() } })
      .then(() => lastLaps(app));
  openSheet("Note on this lap", () => [note.box, mainButton("Keep", keep)]);
}

/** A note on the lap that runs. */
export function note(app) {
  const running = app.activeLane.running;
  if (!running)
    return openSheet("Note", () => [
      say("No lap is running. Notes on ended laps are under Last laps."),
    ]);
  const text = field("Note on the running lap", { value: running.note, maxlength: 500 });
  const keep = () => app.lane("note", { text: text.read() }).then(closeSheet);
  openSheet("Note", () => [text.box, mainButton("Keep", keep)]);
}

/** A cause that is not among the recent ones, and the operation at fault. */
export function cause(app, lapId) {
  const lane = app.activeLane;
  const lap = lane.recent.find((known) => known.lap_id === lapId) || lane;
  const set = (fields) => app.lane("edit", { lapId, fields }).then(done);
  const done = () => {
    app.lane("dismiss");
    closeSheet();
  };
  openSheet("Why?", () => [
    fromShop(() => [choices(app.catalogue.causes, null, (word) => set({ cause: word }))]),
    newName("Another cause", (word) => set({ cause: word })),
    heading("Which operation made it?"),
    fromShop(() => [
      choices(operationNames(app, lap), null, (name) => set({ cause_operation: name })),
    ]),
  ]);
}

const operationNames = (app, { product }) =>
  app.catalogue.operations(product).map((row) => row.operation);

/** Touched up inside the running lap; which operation made that needed. */
export function fixedHere(app) {
  const lane = app.activeLane;
  const set = (causeOperation) => app.lane("fixedHere", { causeOperation }).then(closeSheet);
  openSheet("Had to put it right: where did the fault come from?", () => [
    fromShop(() => [choices(operationNames(app, lane), null, set)]),
    button("I cannot say", () => set("")),
  ]);
}

/** A tray asks once: done, fixed, lost. */
export function trayCount(app, lapId, units) {
  const lap = app.activeLane.recent.find((known) => known.lap_id === lapId);
  openSheet("This tray", () => {
    const done = stepper("Done", units, { least: 1 });
    const fixed = stepper("of these put right", lap?.rework_units || 0);
    const lost = stepper("of these lost", lap?.scrap_units || 0);
    const keep = () => {
      const scrap = Math.min(lost.read(), done.read());
      const rework = Math.min(fixed.read(), done.read() - scrap);
      const fields = { units: done.read(), rework_units: rework, scrap_units: scrap };
      if (rework) fields.flags = [...(lap?.flags || []), FIXED];
      const answered = () =>
        app.activeLane.asks[0]?.lap_id === lapId ? app.lane("dismiss") : undefined;
      app.lane("edit", { lapId, fields }).then(answered).then(closeSheet);
    };
    return [done.box, fixed.box, lost.box, mainButton("Keep", keep)];
  });
}

/** Pieces a tap of the target covers, remembered for the operation. */
export function tray(app) {
  const lane = app.activeLane;
  const size = app.catalogue.batchSize(lane.product);
  const common = [...new Set([1, 2, 5, 10, 25, 50, size])].sort((a, b) => a - b);
  const set = (units) => app.lane("tray", { units }).then(closeSheet);
  openSheet("Pieces in one go", () => {
    const own = stepper(
      "Another number",
      app.state.tray[JSON.stringify([lane.product, lane.operation])] || 1,
      { least: 1 },
    );
    return [
      say(
        `How many pieces of ${lane.operation || "this operation"} one tap stands for: a tray that is coated, a stack that is cut.`,
      ),
      choices(common, null, set, String),
      own.box,
      mainButton("Use that number", () => set(own.read())),
    ];
  });
}

/** "Everything since 10:12 was gluing": one tap for the hour, one for the work. */
export function forgotten(app) {
  let from = null;
  openSheet("Forgot to switch", (redraw) => {
    const lane = app.activeLane;
    const kept = lane.recent.filter((lap) => !lap.removed).slice(-12);
    const options = [...kept.map((lap, k) => [lap.lap_id, lap.start, kept.length - k])];
    if (lane.running) options.push([null, lane.running.started, 0]);
    if (from === null && !lane.running && kept.length) from = suspect(app, lane, kept);
    const pickFrom = (id) => {
      from = id;
      redraw();
    };
    const mend = (fields) => app.lane("since", { fromLapId: from, fields }).then(closeSheet);
    if (!options.length) return [say("Nothing has been timed yet.")];
    return [
      say("Everything since …"),
      ...options
        .reverse()
        .map(([id, start, count]) => sinceButton(app, id, start, count, from, pickFrom)),
      heading("… was:"),
      chips(
        ...operationNames(app, lane).map((name) =>
          button(name, () => mend({ operation: name, activity: hint(app, lane, name) })),
        ),
      ),
      chips(
        ...Object.entries(ACTIVITY_WORDS).map(([activity, words]) =>
          button(words, () => mend({ activity })),
        ),
      ),
    ];
  });
}

function hint(app, lane, name) {
  const row = app.catalogue.operation(lane.product, name);
  return row.activity_hint === "inspection" ? "inspection" : "operation";
}

function sinceButton(app, id, start, count, from, pick) {
  const at = timeOfDay(app.clock.toWall(start));
  const words = count ? `${at}, ${lapWords(count)} and what runs now` : `${at}, only what runs now`;
  return button(words, () => pick(id), { class: "since", "aria-pressed": String(id === from) });
}

/** Where nothing runs: the lap furthest over the middle is the likeliest, else the last. */
function suspect(app, lane, kept) {
  const middle = median(kept.map((lap) => lap.seconds)) || 1;
  const longest = kept.reduce((a, b) => (b.seconds > a.seconds ? b : a));
  return longest.seconds > 2 * middle ? longest.lap_id : kept.at(-1).lap_id;
}

function awaySheet(app, lap) {
  const { recent } = app.activeLane;
  const usual = usualSeconds({ ...lap, recent }, { catalogue: app.catalogue });
  const likely = Math.min(usual ? usual * lap.units : lap.seconds / 2, lap.seconds / 2);
  openSheet("Away for a while", () => {
    const kept = numberField("Seconds really worked", Math.round(likely));
    const keep = () =>
      app
        .lane("away", { lapId: lap.lap_id, keptSeconds: kept.read() })
        .then(() => lastLaps(app));
    return [
      say(`The lap took ${span(lap.seconds)}. The rest becomes an interruption.`),
      kept.box,
      mainButton("Split it off", keep),
    ];
  });
}

/** A coarse lap is split by shares of its time. */
function split(app, lap) {
  const names = lap.operation.split(" + ");
  const usual = names.map((name) => app.catalogue.operation(lap.product, name).seconds || 1);
  const sum = usual.reduce((a, b) => a + b, 0);
  openSheet("Split this lap", () => {
    const shares = names.map((name, k) =>
      stepper(`${name}, %`, Math.round((100 * usual[k]) / sum), { most: 100 }),
    );
    const keep = () => {
      const given = shares.map((share) => Math.max(1, share.read()));
      const whole = given.reduce((a, b) => a + b, 0);
      const parts = names.map((operation, k) => ({
        operation,
        seconds: (lap.seconds * given[k]) / whole,
      }));
      app.lane("split", { lapId: lap.lap_id, parts }).then(() => lastLaps(app));
    };
    return [
      say("The share of the time each took; the present times are offered."),
      ...shares.map((s) => s.box),
      mainButton("Split", keep),
    ];
  });
}

/** A lap nobody timed. */
export function memory(app) {
  const lane = app.activeLane;
  openSheet("A lap from memory", () => {
    const operation = operationPick(app, lane);
    const minutes = numberField("Minutes it took");
    const units = stepper("Pieces", 1, { least: 1 });
    const ended = field("Ended at", {
      type: "time",
      value: hoursAndMinutes(app.clock.toWall(app.clock.now())),
    });
    const text = field("Note", { maxlength: 500 });
    const problem = say("", "warn");
    problem.hidden = true;
    const keep = () => {
      const seconds = minutes.read() * 60;
      const valid = operation.read() && seconds > 0 && seconds <= 86_400;
      problem.hidden = valid;
      problem.textContent = "Say which operation, and how many minutes (up to a day).";
      if (!valid) return;
      const start = endingAt(app, ended.read()) - seconds * 1000;
      const fields = {
        operation: operation.read(),
        seconds,
        units: units.read(),
        start,
        note: text.read(),
        activity: hint(app, lane, operation.read()),
      };
      app.lane("memory", { fields }).then(closeSheet);
    };
    return [
      operation.box,
      minutes.box,
      units.box,
      ended.box,
      text.box,
      problem,
      mainButton("Keep this lap", keep),
    ];
  });
}

/** The operations of the route, the lane's own chosen; `read()` gives the one picked. */
function operationPick(app, lane) {
  const names = [...new Set([...operationNames(app, lane), lane.operation])].filter(Boolean);
  const options = names.map((name) => element("option", { value: name, text: name }));
  const select = element("select", {}, ...options);
  select.value = lane.operation;
  return {
    box: element("label", { text: "Operation" }, select),
    read: () => select.value,
  };
}

/** "09:05": what a field for a time of day takes and gives, whatever it shows. */
function hoursAndMinutes(wallMs) {
  return isoWithOffset(wallMs).slice(11, 16);
}

/** Steady time of the last time it was "10:42". */
function endingAt(app, ended) {
  const nowWall = app.clock.toWall(app.clock.now());
  const [hours, minutes] = ended.split(":").map(Number);
  if (!Number.isInteger(hours)) return app.clock.now();
  const at = new Date(nowWall);
  at.setHours(hours, minutes, 0, 0);
  const wall = at.getTime() > nowWall + 60_000 ? at.getTime() - 86_400_000 : at.getTime();
  return app.clock.now() - (nowWall - Math.min(wall, nowWall));
}
