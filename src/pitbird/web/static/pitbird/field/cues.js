// Sounds and vibration that go with a tap, for those who do not look; both can be turned off. And the screen kept awake.

let audio = null;
let lock = null;
let wanted = false;

/** One cue: "on", "tick", "off", "passed", "failed". */
export function cue(name, { sound, vibration }) {
  if (vibration) navigator.vibrate?.({ on: 60, tick: 30, off: 60, passed: [60, 60, 60], failed: [500, 120, 500, 120, 500] }[name]);
  if (!sound) return;
  const notes = { on: [660], tick: [880], off: [520], passed: [660, 880], failed: [220, 180, 220, 180] }[name];
  try {
    audio ??= new AudioContext();
    notes.forEach((pitch, place) => tone(pitch, audio.currentTime + place * 0.22, name === "failed" ? 0.2 : 0.09));
  } catch {
    audio = null; // no sound on this device: the page says everything in words too
  }
}

function tone(pitch, at, length) {
  const source = new OscillatorNode(audio, { frequency: pitch, type: "square" });
  const loud = new GainNode(audio, { gain: 0.15 });
  source.connect(loud).connect(audio.destination);
  source.start(at);
  source.stop(at + length);
}

/** Keep the screen on while gas is on; where the device does not give that, the page works all the same. */
export async function stayAwake(on) {
  wanted = on;
  if (!on) {
    lock?.release().catch(() => {});
    lock = null;
    return;
  }
  try {
    lock = (await navigator.wakeLock?.request("screen")) ?? null;
    if (!wanted) stayAwake(false);
  } catch {
    lock = null;
  }
}

// The device lets go of the screen when the page is hidden; gas may still be on when it is seen again.
document.addEventListener("visibilitychange", () => { if (wanted && document.visibilityState === "visible") stayAwake(true); });
