// What dries: every coat or glue-up has an hour at which the next step may begin.

const KEEP_DRY_MS = 12 * 3600 * 1000; // a dry piece nobody took note of is forgotten after this

/** Put down that `units` pieces are dry `waitSeconds` after `endedAt` (steady ms). */
export function startDrying(drying, { id, label, group, units, endedAt, waitSeconds }) {
  const due = endedAt + waitSeconds * 1000;
  return [...drying, { id, label, group, units, due }];
}

/** One line a batch and operation: first and last hour, pieces, and how many are dry at `now`. */
export function dryingGroups(drying, now) {
  const groups = new Map();
  for (const entry of drying) {
    const group = groups.get(entry.group) || newGroup(entry);
    group.firstDue = Math.min(group.firstDue, entry.due);
    group.lastDue = Math.max(group.lastDue, entry.due);
    group.units += entry.units;
    group.dryUnits += entry.due <= now ? entry.units : 0;
    groups.set(entry.group, group);
  }
  return [...groups.values()].sort((a, b) => a.firstDue - b.firstDue);
}

function newGroup(entry) {
  const { group, label, due } = entry;
  return { group, label, firstDue: due, lastDue: due, units: 0, dryUnits: 0 };
}

/** Groups of which the first or the last piece became dry after `from` and not after `to`. */
export function becameDry(drying, from, to) {
  const between = (due) => due > from && due <= to;
  return dryingGroups(drying, to).filter((g) => between(g.firstDue) || between(g.lastDue));
}

export function clearDrying(drying, group) {
  return drying.filter((entry) => entry.group !== group);
}

export function withoutLaps(drying, lapIds) {
  return drying.filter((entry) => !lapIds.includes(entry.id));
}

export function withoutOld(drying, now) {
  return drying.filter((entry) => entry.due > now - KEEP_DRY_MS);
}
