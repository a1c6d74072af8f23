// What a reader of each country sees and types; `german` and `american` browsers run them all.

import { localeOf, number, readNumber, timeOfDay, told, typed } from "/page/figures.js";
import { paceWords } from "/page/pace.js";
import { pieces, span } from "/page/words.js";
import { equal, test } from "./harness.js";

/** The same words, each as one of the two countries writes it. */
const here = (german, american) => (localeOf(navigator.language) === "de-DE" ? german : american);
const at = (hours, minutes) => new Date(2026, 10, 3, hours, minutes).getTime();

test("each language takes one of the three manners that the dashboard writes in", () => {
  const manners = { "de-DE": "de-DE", de: "de-DE", "de-AT": "de-DE", "de-CH": "en-GB", "en-US": "en-US", "en-GB": "en-GB", fr: "en-GB", "": "en-GB" };
  equal(Object.keys(manners).map(localeOf), Object.values(manners));
});

test("short times, counts and paces carry the reader's marks", () => {
  equal([span(1.52), span(42), span(3725)], here(["1,5 s", "42 s", "1:02:05"], ["1.5 s", "42 s", "1:02:05"]));
  equal(pieces(1250), here("1.250 pieces", "1,250 pieces"));
  equal(paceWords(2, 1502), here("1.500 s to the aim", "1,500 s to the aim"));
});

test("a time of day stands on the reader's clock", () => {
  equal([timeOfDay(at(14, 30)), timeOfDay(at(0, 5))], here(["14:30", "00:05"], ["2:30 PM", "12:05 AM"]));
});

test("the server's sentence on what is next is told in the reader's manner, names untouched", () => {
  equal(
    told("Nothing to do before Mon 08:00; then sew, 12 of notebook A4.5 (about 1.5 h)."),
    here(
      "Nothing to do before Mon 08:00; then sew, 12 of notebook A4.5 (about 1,5 h).",
      "Nothing to do before Mon 8:00 AM; then sew, 12 of notebook A4.5 (about 1.5 h).",
    ),
  );
});

test("a point and a comma both begin the decimals, and thousands are the reader's own", () => {
  const alike = ["1,5", "1.5", " 0,25 ", "12", "1.234,5", "1,234.5", "1 234,5", ".5", "5,", "1.234.567", "0.125"];
  equal(alike.map(readNumber), [1.5, 1.5, 0.25, 12, 1234.5, 1234.5, 1234.5, 0.5, 5, 1234567, 0.125]);
  equal([readNumber("1.500"), readNumber("1,500")], here([1500, 1.5], [1.5, 1500]));
  const none = ["", " ", ".", ",", "a", "1,2,3", "1.2.3", "1,5x", "1,5.5,5", "--1"];
  equal(none.filter((text) => !Number.isNaN(readNumber(text))), []);
});

test("what a field offers is read back as the same number", () => {
  for (const value of [0.5, 1.234, 12, 999.125, 1500, 86400.5]) equal(readNumber(typed(value)), value);
  equal([typed(1500.5), typed(NaN)], [here("1500,5", "1500.5"), ""]);
  equal(number(1234567.891, 2), (1234567.891).toLocaleString(undefined, { maximumFractionDigits: 2 }));
});
