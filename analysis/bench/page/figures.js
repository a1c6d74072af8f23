// Numbers and times of day as the phone's own country writes them, and numbers read back as typed.
// The words stay English; the marks follow the browser, in the same three manners as the dashboard
// (analysis/records/figures.py). What is sent, kept or saved as a file never goes through here.

const LOCALE = localeOf(navigator.language);
const clock = new Intl.DateTimeFormat(LOCALE, { timeStyle: "short" });
const MARKS = new Intl.NumberFormat(LOCALE).formatToParts(1234567.8);
const THOUSANDS = MARKS.find(({ type }) => type === "group").value;
const SPACES = /[\s'’]/g; // some write their thousands so

/** Whose manner a browser's language (`de-DE`, `en-US`) takes; any other reads plain English. */
export function localeOf(language) {
  const [spoken, place = ""] = (language || "").toLowerCase().split("-");
  // In Switzerland and Liechtenstein a point stands before the decimals.
  if (spoken === "de" && !["ch", "li"].includes(place)) return "de-DE";
  return spoken === "en" && place === "us" ? "en-US" : "en-GB";
}

/** A number with so many decimals: "1,234.5", in German "1.234,5". */
export function number(value, decimals = 0) {
  const digits = { minimumFractionDigits: decimals, maximumFractionDigits: decimals };
  return new Intl.NumberFormat(LOCALE, digits).format(value);
}

/** "14:30", in the United States "2:30 PM", on the phone's clock. */
export function timeOfDay(wallMs) {
  return Number.isFinite(wallMs) ? clock.format(wallMs) : "–";
}

/** A number as a field offers it to be changed, to three decimals: "" where there is none. */
export function typed(value) {
  if (!Number.isFinite(value)) return "";
  const plain = { useGrouping: false, maximumFractionDigits: 3 };
  return new Intl.NumberFormat(LOCALE, plain).format(value);
}

/**
 * The number somebody typed, with a point or a comma before the decimals whatever the phone's
 * language; NaN where it is none. A single mark is taken for thousands only where it is this
 * country's mark for them and three digits follow.
 */
export function readNumber(text) {
  const marked = text.replace(SPACES, "");
  const last = Math.max(marked.lastIndexOf("."), marked.lastIndexOf(","));
  if (last < 0) return marked ? Number(marked) : NaN;
  const mark = marked[last];
  const inThrees = new RegExp(`^[+-]?[1-9]\\d{0,2}(\\${mark}\\d{3})+$`);
  const several = marked.indexOf(mark) < last;
  if (inThrees.test(marked) && (several || mark === THOUSANDS)) {
    return Number(marked.replaceAll(mark, ""));
  }
  const [whole, decimals] = [marked.slice(0, last), marked.slice(last + 1)];
  const other = mark === "." ? "," : ".";
  const isWhole = new RegExp(`^[+-]?(\\d*|\\d{1,3}(\\${other}\\d{3})+)$`);
  if (!isWhole.test(whole) || !/^\d*$/.test(decimals) || marked.length === 1) return NaN;
  return Number(`${whole.replaceAll(other, "") || 0}.${decimals}`);
}

const TIME_OR_DECIMAL = /(?<![\w.,:])(?:([01]\d|2[0-3]):([0-5]\d)|\d+\.\d+)(?![\w:]|[.,]\d)/g;

/** A sentence made by the server, with the times and decimals in it as this country writes them. */
export function told(sentence) {
  return sentence.replace(TIME_OR_DECIMAL, (found, hours, minutes) => {
    if (hours) return timeOfDay(new Date(2000, 0, 1, Number(hours), Number(minutes)).getTime());
    return number(Number(found), found.split(".")[1].length);
  });
}
