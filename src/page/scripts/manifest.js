// One job's session.toml behind the forms: saves one after the other, and never over what
// somebody else wrote in between.
import { get, job, post } from "./ask.js";
import { announce, button, el, fill, notice } from "./dom.js";
import { say } from "./words.js";

export class Manifest {
  constructor(id, settings, place) {
    this.id = id;
    this.place = place;
    this.listeners = [];
    this.queue = Promise.resolve();
    this.take(settings);
  }

  static async open(id) {
    const place = el("div", { class: "saving", role: "status" }, el("p", { class: "small" }, say("manifest.as_you_type")));
    return new Manifest(id, await get(job(id, "/settings")), place);
  }

  take(settings) {
    Object.assign(this, settings);
    if (this.problem) fill(this.place, notice("bad", el("p", {}, say("manifest.problem")), el("pre", {}, this.problem)));
    this.listeners.forEach((listener) => listener(this));
  }

  at(path) {
    return path.reduce((value, step) => value?.[step], this.values);
  }

  // Looks whether changes could be saved; the sentence where not.
  async check(changes) {
    await this.queue;
    return post(job(this.id, "/settings"), { fingerprint: this.fingerprint, changes, dry_run: true });
  }

  // Saves changes, all or none.
  save(changes) {
    const work = this.queue.then(async () => {
      try {
        this.take(await post(job(this.id, "/settings"), { fingerprint: this.fingerprint, changes }));
        fill(this.place, el("p", { class: "saved" }, say("manifest.saved")));
      } catch (error) {
        if (error.status === 409) this.changedElsewhere(error.message);
        throw error;
      }
    });
    this.queue = work.catch(() => {});
    return work;
  }

  changedElsewhere(message) {
    fill(this.place, notice("bad", el("p", {}, message), button(say("manifest.reload"), () => location.reload())));
    announce(message);
  }

  // Told of changes that others make while this screen is open.
  watch() {
    const events = new EventSource(job(this.id, "/events"));
    events.addEventListener("changed", async () => {
      const now = await get(job(this.id, "/settings"));
      // A save of this screen may have come first.
      await this.queue;
      if (now.fingerprint !== this.fingerprint) this.changedElsewhere(say("manifest.changed"));
    });
  }
}
