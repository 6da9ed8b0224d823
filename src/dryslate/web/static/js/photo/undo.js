// Undo and redo for everything on a page: each step knows its way back and forth, saved ones ask the server.

import { isTyping, say } from "../page.js";

/**
 * A list of steps that can be gone back and forth.
 *
 * A step is {label, undo(), redo()}; both may return a promise, and a step that fails stays where it is.
 */
export class Steps {
  #done = [];
  #undone = [];
  #busy = false;
  #listeners = [];

  /** Tell `listener` whenever what can be undone or redone changes. */
  onChange(listener) {
    this.#listeners.push(listener);
    listener(this);
  }

  /** Label of the step that would be undone, or null. */
  get back() { return this.#done.at(-1)?.label ?? null; }

  /** Label of the step that would be done again, or null. */
  get forth() { return this.#undone.at(-1)?.label ?? null; }

  /** Note a step that was just done. */
  push(step) {
    this.#done.push(step);
    if (this.#done.length > 500) this.#done.shift();
    this.#undone = [];
    this.#tell();
  }

  /** Forget steps that `test` picks, when what they changed is gone or was saved as one. */
  forget(test) {
    this.#done = this.#done.filter((step) => !test(step));
    this.#undone = this.#undone.filter((step) => !test(step));
    this.#tell();
  }

  /** Undo the last step; resolves to whether there was one. */
  async undo() { return this.#move(this.#done, this.#undone, "undo"); }

  /** Do the last undone step again; resolves to whether there was one. */
  async redo() { return this.#move(this.#undone, this.#done, "redo"); }

  async #move(from, to, way) {
    const step = from.at(-1);
    if (!step || this.#busy) return false;
    this.#busy = true;
    try {
      await step[way]();
      from.splice(from.indexOf(step), 1);
      to.push(step);
    } catch (error) {
      say(error.told?.problems ?? [{ message: error.message }]);
      return false;
    } finally {
      this.#busy = false;
      this.#tell();
    }
    return true;
  }

  #tell() { for (const listener of this.#listeners) listener(this); }
}

/** Steps of this page. */
export const steps = new Steps();

/** Let two buttons, and Ctrl+Z and Ctrl+Shift+Z (or Ctrl+Y), undo and redo; in text fields these keys stay the field's own. */
export function connectButtons(undoButton, redoButton) {
  undoButton.addEventListener("click", () => steps.undo());
  redoButton.addEventListener("click", () => steps.redo());
  steps.onChange((now) => {
    undoButton.disabled = now.back === null;
    redoButton.disabled = now.forth === null;
    undoButton.title = now.back ?? "";
    redoButton.title = now.forth ?? "";
  });
  document.addEventListener("keydown", (event) => {
    const key = event.key.toLowerCase();
    if (!(event.ctrlKey || event.metaKey) || event.altKey || (key !== "z" && key !== "y")) return;
    const at = event.target;
    if (/^(TEXTAREA)$/.test(at.tagName) || (at.tagName === "INPUT" && /^(text|search|number|)$/.test(at.type))) return;
    event.preventDefault();
    if (key === "y" || event.shiftKey) steps.redo(); else steps.undo();
  });
}

export { isTyping };
