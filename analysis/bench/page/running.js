// The lap that is running: started, paused, put aside, ended. Times are steady milliseconds.

const SIDE_ACTIVITIES = ["setup", "transport", "delay", "rework"];

export function begin(now, activity = "operation", flags = []) {
  return {
    activity,
    started: now,
    resumed: now,
    workedMs: 0,
    flags,
    note: "",
    rework: 0,
    scrap: 0,
    cause: "",
    causeOperation: "",
  };
}

export const isPaused = (running) => running.resumed === null;

export const isSide = (running) => SIDE_ACTIVITIES.includes(running.activity);

/** Worked milliseconds so far, pauses left out. */
export function elapsedMs(running, now) {
  const since = isPaused(running) ? 0 : Math.max(0, now - running.resumed);
  return running.workedMs + since;
}

/** Stop counting: a pause, or another activity comes in between. */
export function halt(running, now) {
  return { ...running, workedMs: elapsedMs(running, now), resumed: null };
}

export function goOn(running, now) {
  return isPaused(running) ? { ...running, resumed: now } : running;
}

export function flag(running, ...words) {
  return { ...running, flags: [...new Set([...running.flags, ...words])] };
}
