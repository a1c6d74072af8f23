// Keeping the screen lit. Wake locks exist on https and localhost only; a phone on plain http is
// kept awake by a small muted video that plays over and over, which is made here from a canvas.

/** Keeps the light on while `wanted`; `state` is "lock", "video", "none" or "off". */
export class Light {
  constructor() {
    this.wanted = false;
    this.state = "off";
    document.addEventListener("visibilitychange", () => {
      if (document.visibilityState === "visible" && this.wanted) this.on();
    });
  }

  /** Call from a tap: browsers play a video only then. */
  async on() {
    this.wanted = true;
    if (this.lock && !this.lock.released) return;
    this.state = (await this.tryLock()) || (await this.tryVideo()) || "none";
  }

  off() {
    this.wanted = false;
    this.lock?.release();
    this.video?.pause();
    this.state = "off";
  }

  async tryLock() {
    try {
      this.lock = await navigator.wakeLock.request("screen");
      return "lock";
    } catch {
      return null;
    }
  }

  async tryVideo() {
    try {
      this.video ||= await loopingVideo();
      await this.video.play();
      return "video";
    } catch {
      return null;
    }
  }
}

async function loopingVideo() {
  const video = document.createElement("video");
  video.muted = true;
  video.loop = true;
  video.setAttribute("playsinline", "");
  video.className = "lit";
  video.setAttribute("aria-hidden", "true");
  video.tabIndex = -1;
  video.src = URL.createObjectURL(await recordCanvas());
  document.body.append(video);
  return video;
}

/** Two seconds of a canvas that changes, in whatever format this browser records and so plays. */
function recordCanvas() {
  const canvas = Object.assign(document.createElement("canvas"), { width: 16, height: 16 });
  const pen = canvas.getContext("2d");
  const recorder = new MediaRecorder(canvas.captureStream(5));
  const parts = [];
  const draw = setInterval(() => {
    pen.fillStyle = pen.fillStyle === "#000000" ? "#111111" : "#000000";
    pen.fillRect(0, 0, 16, 16);
  }, 100);
  return new Promise((resolve, reject) => {
    recorder.ondataavailable = ({ data }) => parts.push(data);
    recorder.onerror = reject;
    recorder.onstop = () => {
      clearInterval(draw);
      resolve(new Blob(parts, { type: recorder.mimeType }));
    };
    recorder.start();
    setTimeout(() => recorder.stop(), 2_000);
  });
}
