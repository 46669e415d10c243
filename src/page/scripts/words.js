// The words of the page, from the same file as the server's.
const words = await (await fetch("/assets/words.json")).json();

// Keys without a word, for the tests.
export const missing = (window.missingWords = []);

export function say(key, values = {}) {
  if (words[key] === undefined) missing.push(key);
  const text = words[key] ?? key;
  return text.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);
}

// Numbers as this language writes them.
export const number = (value, decimals = 1) =>
  value === null || value === undefined ? "–" : value.toFixed(decimals).replace("-", "−");

export const hertz = (hz) => (hz >= 1000 ? `${+(hz / 1000).toPrecision(3)} kHz` : `${Math.round(hz)} Hz`);
