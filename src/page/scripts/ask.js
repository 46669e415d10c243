// Questions to the server; what it refuses comes as an error with its sentence.
import { say } from "./words.js";

export class Refused extends Error {
  constructor(status, message, field) {
    super(message);
    this.status = status;
    this.field = field;
  }
}

async function answer(response) {
  if (response.ok) return response;
  let told = {};
  try {
    told = await response.clone().json();
  } catch {
    told = { message: (await response.text()).slice(0, 300) };
  }
  throw new Refused(response.status, told.message || say("error.unknown"), told.field);
}

async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch {
    throw new Refused(0, say("error.server_gone"));
  }
  return answer(response);
}

export const get = async (path) => (await ask(path)).json();
export const bytes = async (path) => (await ask(path)).arrayBuffer();
export const post = async (path, body) =>
  (await ask(path, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) })).json();
export const send = async (path, body, method = "POST") =>
  (await ask(path, { method, headers: { "content-type": "application/octet-stream" }, body })).json();

export const query = (values) =>
  new URLSearchParams(Object.entries(values).filter(([, v]) => v !== null && v !== undefined && v !== "")).toString();

export const job = (id, what = "") => `/api/jobs/${encodeURIComponent(id)}${what}`;
