// Short tones, made on the phone. Browsers let a page sound only after a tap.

let context = null;

/** Call from a tap, so that later tones may sound. */
export function wakeSound() {
  if (context === null && "AudioContext" in window) context = new AudioContext();
  if (context?.state === "suspended") context.resume().catch(() => {});
}

function tones(frequencies, seconds) {
  if (context?.state !== "running") return;
  frequencies.forEach((frequency, nth) => {
    const at = context.currentTime + nth * seconds * 1.4;
    const loudness = context.createGain();
    loudness.gain.setValueAtTime(0.0001, at);
    loudness.gain.exponentialRampToValueAtTime(0.3, at + 0.02);
    loudness.gain.exponentialRampToValueAtTime(0.0001, at + seconds);
    const tone = context.createOscillator();
    tone.frequency.value = frequency;
    tone.connect(loudness).connect(context.destination);
    tone.start(at);
    tone.stop(at + seconds);
  });
}

export const soundDry = () => tones([523, 659, 784], 0.25);
export const soundPace = () => tones([440], 0.12);
export const buzz = (pattern) => navigator.vibrate?.(pattern);
