// What can be played through and recorded from, and how the browser treats it.
import { say } from "./words.js";

const TREATMENTS = ["echoCancellation", "noiseSuppression", "autoGainControl", "voiceIsolation"];

// A sentence for what a browser says when a device cannot be had.
export function why(error) {
  const key = { NotAllowedError: "rec.refused", SecurityError: "rec.refused", NotFoundError: "rec.no_mic", OverconstrainedError: "rec.gone", NotReadableError: "rec.busy", AbortError: "rec.busy" }[error?.name];
  return key ? say(key) : (error?.message ?? String(error));
}

export const supported = () => Boolean(navigator.mediaDevices?.getUserMedia && window.AudioWorkletNode);

// The microphone as it is: every treatment off. More channels than a device has are not asked twice.
export async function microphone(deviceId) {
  const off = Object.fromEntries(TREATMENTS.map((name) => [name, false]));
  const audio = { ...off, channelCount: { ideal: 32 }, ...(deviceId ? { deviceId: { exact: deviceId } } : {}) };
  const stream = await navigator.mediaDevices.getUserMedia({ audio, video: false });
  return { stream, track: stream.getAudioTracks()[0] };
}

// `off`, `not told`, or the names of what is on.
export function processing(track) {
  const settings = track.getSettings();
  const on = TREATMENTS.filter((name) => settings[name] === true || typeof settings[name] === "string");
  if (on.length) return { state: "on", words: on.map((name) => say(`treat.${name}`)).join(", ") };
  const told = TREATMENTS.slice(0, 3).every((name) => settings[name] === false);
  return { state: told ? "off" : "not told", words: "" };
}

export async function list() {
  const all = await navigator.mediaDevices.enumerateDevices();
  const of = (kind) => all.filter((d) => d.kind === kind && d.deviceId);
  return { inputs: of("audioinput"), outputs: of("audiooutput") };
}
