// Thumb and pedal: a press of the target, told apart from a hold and from a bounce.
//
// The time of a press is when the thumb came down; it counts when the thumb is lifted on the
// target (so that one can slide off and cancel), or when it was held long enough to mean "fixed".

const BOUNCE_MS = 250; // contacts bounce for under 50 ms, a double tap lies under 250 ms
const HOLD_MS = 600;
const FRESH_MS = 1_000; // an event's own time stamp is trusted if it is that near to now

export class Presses {
  /** `act({lane, at, fixed})`: `at` on the monotonic clock. */
  constructor(act) {
    this.act = act;
    this.last = new Map();
    this.down = new Map(); // what is held: key or lane -> its press
  }

  /** Bind a target button; its lane may change with the screen, so it is asked at each press. */
  bindTarget(button, lane) {
    button.addEventListener("pointerdown", (event) => {
      const main = event.pointerType !== "mouse" || event.button === 0;
      if (main && !this.down.has(button)) this.begin(button, lane(), event);
    });
    let liftedAt = -Infinity; // the click that follows a lifted thumb is the same press
    button.addEventListener("pointerup", (event) => {
      liftedAt = event.timeStamp;
      if (!this.down.has(button)) return;
      if (isInside(button, event)) this.end(button);
      else this.cancel(button);
    });
    button.addEventListener("click", (event) => {
      const isReaders = event.detail === 0 || event.timeStamp - liftedAt > FRESH_MS;
      if (isReaders) this.fire(lane(), monotonicOf(event), false); // a screen reader's click
    });
    button.addEventListener("pointercancel", () => this.cancel(button));
    button.addEventListener("contextmenu", (event) => event.preventDefault());
  }

  /** Keys that act as the target: `laneOf(event)` gives the lane, or null if the key is not one. */
  bindKeys(target, laneOf) {
    target.addEventListener("keydown", (event) => {
      const lane = laneOf(event);
      if (lane === null) return;
      event.preventDefault();
      if (!event.repeat && !this.down.has(event.code)) this.begin(event.code, lane, event);
    });
    target.addEventListener("keyup", (event) => {
      if (!this.down.has(event.code)) return;
      event.preventDefault();
      this.end(event.code);
    });
    window.addEventListener("blur", () => [...this.down.keys()].forEach((key) => this.cancel(key)));
  }

  begin(key, lane, event) {
    const press = { lane, at: monotonicOf(event), done: false };
    press.timer = setTimeout(() => {
      press.done = true;
      this.fire(lane, press.at, true);
    }, HOLD_MS);
    this.down.set(key, press);
    if (event.pointerId !== undefined) event.target.setPointerCapture?.(event.pointerId);
  }

  end(key) {
    const press = this.down.get(key);
    this.cancel(key);
    if (!press.done) this.fire(press.lane, press.at, false);
  }

  cancel(key) {
    clearTimeout(this.down.get(key)?.timer);
    this.down.delete(key);
  }

  fire(lane, at, fixed) {
    if (at - (this.last.get(lane) ?? -Infinity) < BOUNCE_MS) return;
    this.last.set(lane, at);
    this.act({ lane, at, fixed });
  }
}

function isInside(button, { clientX, clientY }) {
  const box = button.getBoundingClientRect();
  return clientX >= box.left && clientX <= box.right && clientY >= box.top && clientY <= box.bottom;
}

function monotonicOf(event) {
  const now = performance.now();
  const age = now - event.timeStamp;
  return age >= 0 && age < FRESH_MS ? event.timeStamp : now;
}
