// Lines on their way to the server: kept in this browser until it said that they are stored, sent under an id of their own.

import { post } from "../page.js";

const RETRY_MS = [1000, 2000, 4000, 5000];

/** A mark that nobody else makes; also where the page is no secure context. */
export function newMark() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

/**
 * Sends what changed, a batch at a time.
 *
 * A waiting change is {key, kind, cells, number, row_no} or {key, row_no, gone: true}.
 * `ready(change)` says whether it may go; `told` has stored(rowNos, answer), other(error), failed(error), changed().
 */
export class Sender {
  constructor({ path, name, seal, ready, told }) {
    Object.assign(this, { path, name, seal, ready, told });
    this.waiting = new Map();
    this.batch = null;
    this.state = "idle"; // idle, sending, lost, strange, other
    this.tries = 0;
    this.timer = 0;
  }

  /** What was kept by an earlier page, put back; returns the changes in the order they were made. */
  restore() {
    let kept = null;
    try { kept = JSON.parse(localStorage.getItem(this.name)); } catch { /* nothing that can be read */ }
    if (!kept) return [];
    this.batch = kept.batch ?? null;
    for (const change of kept.waiting ?? []) this.waiting.set(change.key, change);
    return [...(this.batch?.changes ?? []), ...this.waiting.values()];
  }

  keep() {
    try {
      if (this.batch || this.waiting.size) localStorage.setItem(this.name, JSON.stringify({ batch: this.batch, waiting: [...this.waiting.values()] }));
      else localStorage.removeItem(this.name);
    } catch { /* a browser that keeps nothing still sends */ }
    this.told.changed();
  }

  /** How many changes the server has not said to have stored. */
  get open() {
    return this.waiting.size + (this.batch?.changes.length ?? 0);
  }

  isWaiting(key) {
    return this.waiting.has(key) || (this.batch?.changes.some((change) => change.key === key) ?? false);
  }

  change(change) {
    this.waiting.set(change.key, change);
    this.keep();
  }

  /** A line was taken out: nothing to send where it never left this page. */
  remove(key, rowNo) {
    const isOnItsWay = this.batch?.changes.some((change) => change.key === key);
    if (rowNo === null && !isOnItsWay) this.waiting.delete(key);
    else this.waiting.set(key, { key, row_no: rowNo, gone: true });
    this.keep();
  }

  dropAll() {
    this.waiting.clear();
    this.batch = null;
    this.state = "idle";
    this.keep();
  }

  /** Go on after somebody else was quicker, on what is stored now. */
  goOn(seal) {
    this.seal = seal;
    this.state = "idle";
    this.keep();
    this.send();
  }

  async send() {
    if (["sending", "other", "strange"].includes(this.state)) return;
    if (!this.batch) {
      const changes = [...this.waiting.values()].filter((change) => (change.gone ? change.row_no !== null : this.ready(change)));
      if (!changes.length) { if (this.state !== "lost") this.state = "idle"; return this.told.changed(); }
      this.batch = { batch: newMark(), seal: this.seal, changes };
      for (const change of changes) this.waiting.delete(change.key);
    }
    this.state = "sending";
    this.keep();
    const { batch, seal, changes } = this.batch;
    const lines = changes.filter((change) => !change.gone);
    const gone = changes.filter((change) => change.gone).map((change) => change.row_no);
    try {
      this.stored(await post(this.path, { batch, seal, lines, gone }, { keepalive: JSON.stringify(lines).length < 50000 }));
    } catch (error) {
      this.failed(error);
    }
  }

  stored(answer) {
    const held = new Set(answer.held);
    for (const change of this.batch.changes) if (held.has(change.key) && !this.waiting.has(change.key)) this.waiting.set(change.key, { ...change, held: true });
    for (const change of this.waiting.values()) if (change.row_no === null && change.key in answer.row_nos) change.row_no = answer.row_nos[change.key];
    this.batch = null;
    this.seal = answer.seal;
    this.state = "idle";
    this.tries = 0;
    this.told.stored(answer);
    this.keep();
    this.send();
  }

  /** Put a batch that was not stored back among what waits; what was typed since stays. */
  putBack() {
    for (const change of this.batch?.changes ?? []) if (!this.waiting.has(change.key)) this.waiting.set(change.key, change);
    this.batch = null;
  }

  failed(error) {
    const status = error.status ?? 0;
    const slug = error.told?.problems?.[0]?.slug;
    if (slug === "changed-meanwhile") { this.putBack(); this.state = "other"; this.told.other(); }
    else if (status === 403) {
      this.state = "strange"; // until somebody comes back to this page: perhaps from having signed in
      window.addEventListener("focus", () => { this.state = "idle"; this.send(); }, { once: true });
    }
    else if (status === 0 || status >= 500) {
      this.state = "lost";
      clearTimeout(this.timer);
      this.timer = setTimeout(() => this.send(), RETRY_MS[Math.min(this.tries++, RETRY_MS.length - 1)]);
    } else { this.putBack(); this.state = "idle"; this.told.failed(error); }
    this.keep();
  }
}
