// A phone is let in once: the dashboard's Laps screen shows a code as a QR picture, the link
// carries it behind the # (so that no server log ever holds it), and it is exchanged for a cookie.

import { postJson } from "./sender.js";

/** Exchange a code in the address for a cookie: "paired", "refused", "offline", or null if none. */
export async function pairFromAddress() {
  const code = new URLSearchParams(location.hash.slice(1)).get("pair");
  if (!code) return null;
  try {
    const answer = await postJson("/bench/pair", { code, name: phoneName() }, 15_000);
    const paired = answer.status === 200 || answer.status === 204;
    history.replaceState(null, "", location.pathname); // a code is for one use
    return paired ? "paired" : "refused";
  } catch {
    return "offline"; // the code stays in the address: a reload tries again
  }
}

function phoneName() {
  const kinds = [
    ["iPhone", /iPhone/],
    ["iPad", /iPad/],
    ["Android", /Android/],
    ["Mac", /Mac/],
    ["Windows", /Windows/],
    ["Linux", /Linux/],
  ];
  const kind = kinds.find(([, pattern]) => pattern.test(navigator.userAgent));
  return kind ? kind[0] : "phone";
}
