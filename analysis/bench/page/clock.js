// One steady time axis for the bench, in milliseconds.
//
// steady = performance.now() + base. It runs on the phone's monotonic clock, so that somebody
// setting the clock changes no duration. It is anchored to the wall clock when the page loads, so
// that it goes on across a reload. `changes` is the sum of all clock changes seen so far:
// wall = steady + changes.
//
// Laps are sent in steady time, and so is the time of sending: as if nobody had ever set the clock
// since the page was first opened. The server compares that with its own clock and moves the laps
// of a phone that is far off; the difference stays the same for every correction of a lap.
//
// Some phones stop the monotonic clock while they sleep. Then wall time runs ahead of it while the
// page was hidden, and the steady axis is moved on by as much. Wall time that jumps while the page
// was in sight is somebody setting the clock, unless the server's clock says otherwise.

const JUMP_MS = 400; // ordinary corrections over the network are far smaller in one second
const SILENCE_MS = 90_000; // hidden pages are called about once a minute; longer is sleep
const SAME_MS = 2_000; // two readings of the server's clock differ by the network's delay

export class Clock {
  constructor({ wall = () => Date.now(), monotonic = () => performance.now(), changes = 0 } = {}) {
    this.wall = wall;
    this.monotonic = monotonic;
    this.changes = changes;
    this.base = wall() - monotonic() - changes;
    this.offset = wall() - monotonic();
    this.checkedAt = monotonic();
    this.wasHidden = false;
    this.doubtful = null;
    this.serverAhead = null;
  }

  /** Steady time of now, or of a reading of the monotonic clock (an event's time stamp). */
  now(monotonic = this.monotonic()) {
    return monotonic + this.base;
  }

  toWall(steady) {
    return steady + this.changes;
  }

  hidden() {
    this.wasHidden = true;
  }

  /** Compare the two clocks; what happened since the last look, or null. */
  check(hiddenNow = false) {
    const monotonic = this.monotonic();
    const offset = this.wall() - monotonic;
    const jump = offset - this.offset;
    const silence = monotonic - this.checkedAt;
    const wasHidden = this.wasHidden || hiddenNow;
    this.offset = offset;
    this.checkedAt = monotonic;
    this.wasHidden = hiddenNow;
    if (jump >= JUMP_MS && wasHidden) return this.slept(jump);
    if (Math.abs(jump) >= JUMP_MS) return this.wasSet(jump);
    return silence > SILENCE_MS ? { kind: "sleep", seconds: silence / 1000 } : null;
  }

  slept(jump) {
    this.base += jump;
    return { kind: "sleep", seconds: jump / 1000 };
  }

  wasSet(jump) {
    this.changes += jump;
    this.doubtful = jump > 0 ? jump : null;
    return { kind: "clock_changed", seconds: jump / 1000 };
  }

  /** The server's clock, read `ahead` ms before ours: settles a jump that may have been sleep. */
  serverSays(ahead) {
    const before = this.serverAhead;
    this.serverAhead = ahead;
    const jump = this.doubtful;
    this.doubtful = null;
    if (before === null || jump === null || Math.abs(ahead - before) > SAME_MS) return null;
    this.changes -= jump;
    return this.slept(jump);
  }

  /** After a reload: never earlier than the page was last seen alive at (steady time). */
  notBefore(aliveAt) {
    const behind = aliveAt - this.now();
    if (behind <= 0) return null;
    this.base += behind;
    this.changes -= behind;
    return { kind: "clock_changed", seconds: -behind / 1000 };
  }
}
