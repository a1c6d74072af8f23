// Sheets about the phone: what waits, what was refused, sound, pace, the lit screen.

import { number } from "./figures.js";
import { revise } from "./laps.js";
import { operationKey } from "./state.js";
import { tooFast } from "./pace.js";
import {
  button,
  check,
  chips,
  choices,
  closeSheet,
  field,
  heading,
  mainButton,
  numberField,
  openSheet,
  say,
} from "./sheet.js";
import { element } from "./dom.js";
import { plain } from "./tapping.js";
import { batches, laps, span } from "./words.js";

/** Everything that is not needed at every piece. */
export function more(app) {
  const { sheets } = app;
  const entries = [
    ["Forgot to switch", sheets.forgotten],
    ["Last laps", sheets.lastLaps],
    ["Pieces in one go", sheets.tray],
    ["Lap from memory", sheets.memory],
    ["Note", sheets.note],
    ["Something dries", sheets.dryTimer],
    ["Pace cue", sheets.pace],
    ["Two people", sheets.worker],
    ["Try two ways", sheets.trial],
    ["Batch, put into stock", sheets.work],
    ["Screen stays lit", sheets.light],
    ["Waiting laps, save a copy", sheets.queue],
  ];
  const buttons = entries.map(([text, open]) => button(text, () => open()));
  openSheet("More", () => [element("div", { class: "chips grid" }, ...buttons)]);
}

/** What waits, what was refused and why; a copy to keep. */
export function queue(app) {
  openSheet("Laps on this phone", (redraw) => {
    const { counts, status } = app;
    const refused = element("div", { class: "sheet-body" });
    app.storage
      .some("refused", 50)
      .then((found) => refused.append(...found.map((lap) => refusedBox(app, lap, redraw))));
    return [
      say(
        counts.waiting
          ? `Waiting on this phone: ${laps(counts.waiting)}. What waits stays here until the server has written it down.`
          : "Every lap has reached the server.",
      ),
      say("Laps go to My workshop, never to the demo."),
      counts.posts ? say(`Waiting too: ${batches(counts.posts)} begun or put away.`) : null,
      say(STATUS_WORDS[status] || STATUS_WORDS.offline, status === "sent" ? null : "warn"),
      chips(
        mainButton("Save a copy", () => app.saveCopy()),
        button("Send now", () => app.sender.wake()),
      ),
      say(
        "The copy is a CSV file of the laps that wait; the Laps screen of the dashboard can import it, and laps that arrived meanwhile are not counted twice.",
      ),
      counts.refused ? heading(`${laps(counts.refused)} to mend`) : null,
      refused,
    ];
  });
}

const STATUS_WORDS = {
  sent: "The server answers.",
  connecting: "The server is being asked; no answer yet. Work on meanwhile.",
  offline:
    "The server cannot be reached just now. Work on: this page needs no network while it is open, and it tries again by itself.",
  busy: "The server asked for a pause; the page tries again by itself.",
  "another tab sends": "Another tab of this phone is sending.",
  "not paired":
    "This phone is not let in. On the dashboard open the screen Laps, show the code for phones, and scan it with this phone. The laps wait here meanwhile.",
};

const MENDABLE = [
  "product",
  "operation",
  "worker",
  "variant",
  "batch",
  "cause",
  "cause_operation",
  "note",
  "seconds",
  "units",
  "rework_units",
  "scrap_units",
];
const NUMBERS = ["seconds", "units", "rework_units", "scrap_units"];

function refusedBox(app, lap, redraw) {
  const { column, problem, value, remedy } = lap.reason;
  const reason = [column && `${column}:`, problem, value && `"${value}"`, remedy]
    .filter(Boolean)
    .join(" ");
  const shown = MENDABLE.includes(column) ? [column] : MENDABLE;
  const fields = shown.map((name) => [
    name,
    (NUMBERS.includes(name) ? numberField : textField)(name.replace("_", " "), lap[name]),
  ]);
  const again = async () => {
    const values = fields.map(([name, f]) => [name, f.read()]);
    await app.mendRefused(revise(lap, Object.fromEntries(values)));
    redraw();
  };
  return element(
    "article",
    { class: "lap" },
    say(`${lap.operation || "lap"}, ${span(lap.seconds)}. Sent back: ${reason}`, "warn"),
    ...fields.map(([, f]) => f.box),
    mainButton("Send again", again),
  );
}

const textField = (label, value) => field(label, { value: String(value) });

/** A timer for what dries and has no waiting time in the route. */
export function dryTimer(app) {
  const lane = app.activeLane;
  const start = (minutes) => {
    const label = `${lane.operation} ${lane.batch}`.trim() || "drying";
    app.dispatch({ type: "dryTimer", label, minutes }).then(closeSheet);
  };
  openSheet("Something dries", () => {
    const own = numberField("Minutes");
    const { settings } = app.state;
    return [
      say(
        "Operations with a waiting time in the route start their own; this one is for anything else.",
      ),
      choices([5, 10, 15, 20, 30, 45, 60, 120, 240], null, start, (minutes) => `${minutes} min`),
      own.box,
      mainButton("Start", () => own.read() > 0 && start(own.read())),
      check("Sound when something is dry", settings.dryingSound, (on) =>
        app.settings({ dryingSound: on }),
      ),
    ];
  });
}

/** The pace cue, and a warning where aiming that low does harm. */
export function pace(app) {
  const lane = app.activeLane;
  const row = app.catalogue.operation(lane.product, lane.operation, plain(lane.variant));
  openSheet("Pace cue", () => {
    const { settings } = app.state;
    const key = operationKey(lane);
    const aim = numberField(
      `Seconds a piece for ${lane.operation || "this operation"}`,
      Math.ceil(settings.aims[key] || row.seconds || 0) || NaN,
    );
    const warning = say("", "warn");
    const weigh = () => {
      warning.textContent = tooFast(aim.read(), row);
      warning.hidden = !warning.textContent;
    };
    aim.input.addEventListener("input", weigh);
    weigh();
    const change = (part) => app.settings({ pace: { ...app.state.settings.pace, ...part } });
    const keep = async () => {
      await app.dispatch({ type: "aim", key, seconds: aim.read() || null });
      await change({ on: true });
      closeSheet();
    };
    return [
      say(
        "Shows where the running piece stands against a time: ○ ahead, ◐ nearly there, ▲ over. It is there to keep an even pace, not to race: hurried pieces get spoiled, and hands get hurt. Leave it off at blades, needles and presses if it hurries you.",
      ),
      aim.box,
      warning,
      check("Sound", settings.pace.sound, (on) => change({ sound: on })),
      check("Vibration", settings.pace.vibrate, (on) => change({ vibrate: on })),
      mainButton("Show the cue", keep),
      settings.pace.on && button("Switch it off", () => change({ on: false }).then(closeSheet)),
    ];
  });
}

const LIGHT_WORDS = {
  lock: "The screen stays lit while this page is open.",
  video:
    "A small silent video in the corner of this page keeps the screen lit. If your phone goes dark all the same, set it as below.",
  none: "This browser does not let the page keep the screen lit. Set the phone as below.",
  off: "The screen goes dark as the phone is set. It is switched on with the first tap of the target.",
};

export function light(app) {
  openSheet("Screen stays lit", (redraw) => [
    say(LIGHT_WORDS[app.light.state]),
    check("Keep the screen lit", app.state.settings.light, (on) => app.setLight(on).then(redraw)),
    heading("Setting the phone"),
    say(
      "iPhone or iPad: Settings, Display & Brightness, Auto-Lock, Never. Android: Settings, Display, Screen timeout, the longest. Put it on a charger, and set it back in the evening.",
    ),
    say("A phone that goes dark all the same loses nothing: the lap goes on, and says so."),
  ]);
}
