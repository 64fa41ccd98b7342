// Figures for people who stand far off: at most four of them, as large as the screen lets them be.

import { fit, metresFor } from "../figure.mjs";
import { $, say } from "./dom.mjs";

export class Board {
  #ink = null;
  #width = 0;

  constructor() {
    const big = $("big");
    big.addEventListener("click", () => this.close());
    big.addEventListener("keydown", (event) => { if (event.key === "Escape") this.close(); });
    addEventListener("resize", () => { this.#ink = null; });
  }

  get isOpen() {
    return !$("big").hidden;
  }

  async open() {
    $("big").hidden = false;
    $("big").focus();
    await document.documentElement.requestFullscreen?.({ navigationUI: "hide" }).catch(() => {});
    await /** @type {any} */ (screen.orientation)?.lock?.("landscape").catch(() => {});
    this.#ink = null;
  }

  close() {
    $("big").hidden = true;
    if (document.fullscreenElement) document.exitFullscreen();
  }

  /** Show a text of figures, and words below them. */
  show(text, words) {
    if (!this.isOpen) return;
    const figures = $("big-figures");
    const box = { width: innerWidth - 24, height: innerHeight - 56 };
    // The room is measured for the widest text of that many signs, so that the figures do not change size from number to number.
    if (!this.#ink || this.#width !== text.length) {
      this.#width = text.length;
      this.#ink = measure(text.replace(/[0-9]/g, "8"));
      const { size, squeeze } = fit(this.#ink, box);
      const height = (this.#ink.inkHeight * size) / 100;
      figures.style.fontSize = `${size}px`;
      figures.style.transform = `scaleX(${squeeze}) translateX(-50%)`;
      // Line height is 1; the glyphs' ink sits `above` below the top of the line.
      figures.style.top = `${12 + (box.height - height) / 2 - (this.#ink.above * size) / 100}px`;
      $("big").dataset.figureHeight = height.toFixed(1);
      $("big").dataset.readFrom = metresFor(height).toFixed(1);
    }
    say(figures, text);
    say($("big-words"), words);
    $("big").setAttribute("aria-label", `${text} ${words}`);
  }
}

/** Ink of a text at 100 px: its height and width, and how far below the top of a line of height 1 it begins. */
function measure(text) {
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = "900 100px system-ui, sans-serif";
  const size = pen.measureText(text);
  const inkHeight = size.actualBoundingBoxAscent + size.actualBoundingBoxDescent;
  const line = size.fontBoundingBoxAscent + size.fontBoundingBoxDescent;
  const above = size.fontBoundingBoxAscent + (100 - line) / 2 - size.actualBoundingBoxAscent;
  return { inkHeight, inkWidth: size.width, above };
}
