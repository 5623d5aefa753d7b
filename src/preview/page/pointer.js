// Pointing: which element a pixel belongs to, and which pixels a line of the file draws; by mouse, by touch and by keyboard.

import { lit, rectangle } from "/panel.js";

const by = (id) => document.getElementById(id);

/** A place in the file, in words and as a piece of it. */
function line(text, kind = "code") {
  const one = document.createElement(kind);
  one.textContent = text;
  return one;
}

/** An age as people say it. */
export function age(seconds) {
  if (seconds === null || seconds === undefined) return "of unknown age";
  if (seconds < 1) return "just heard";
  if (seconds < 120) return `${Math.floor(seconds)} s old`;
  if (seconds < 7200) return `${Math.floor(seconds / 60)} min old`;
  return `${Math.floor(seconds / 3600)} h old`;
}

export class Pointer {
  constructor(panel, light) {
    this.panel = panel;
    this.light = light;
    this.at = null;
    this.byKeys = false;
    this.line = null;
    const view = by("panel");
    view.addEventListener("pointermove", (event) => this.point(this.pixel(event), false));
    view.addEventListener("pointerdown", (event) => this.point(this.pixel(event), false));
    view.addEventListener("pointerleave", () => { if (!this.byKeys) this.point(null, false); });
    view.addEventListener("focus", () => { if (!this.at && view.matches(":focus-visible")) this.point({ x: 0, y: 0 }, true); });
    view.addEventListener("blur", () => { if (this.byKeys) this.point(null, false); });
    view.addEventListener("click", () => this.jump());
    view.addEventListener("keydown", (event) => this.key(event));
  }

  /** The pixel below an event. */
  pixel(event) {
    const { left, top, width, height } = by("panel").getBoundingClientRect();
    const { width: columns, height: rows } = this.panel.glass;
    const x = Math.floor(((event.clientX - left) / width) * columns), y = Math.floor(((event.clientY - top) / height) * rows);
    return { x: Math.min(Math.max(x, 0), columns - 1), y: Math.min(Math.max(y, 0), rows - 1) };
  }

  key(event) {
    const { width, height } = this.panel.glass, step = event.shiftKey ? 8 : 1;
    const moves = { ArrowLeft: [-step, 0], ArrowRight: [step, 0], ArrowUp: [0, -step], ArrowDown: [0, step], Home: [-width, 0], End: [width, 0] };
    const at = this.at ?? { x: 0, y: 0 };
    if (event.key in moves) {
      const [x, y] = moves[event.key];
      this.point({ x: Math.min(Math.max(at.x + x, 0), width - 1), y: Math.min(Math.max(at.y + y, 0), height - 1) }, true);
    } else if (event.key === "Enter") this.jump();
    else if (event.key === "Escape") this.point(null, false);
    else return;
    event.preventDefault();
  }

  /** Goes to the line of the element under the pixel. */
  jump() {
    const item = this.items()[0];
    if (item) this.light.lines(item.line, item.end_line, true);
  }

  /** Takes a pixel, or none. */
  point(at, byKeys) {
    if (at && this.at && at.x === this.at.x && at.y === this.at.y && byKeys === this.byKeys) return;
    this.at = at;
    this.byKeys = byKeys && at !== null;
    if (at) this.line = null;
    this.show();
  }

  /** Takes a line of the file, whose elements are shown. */
  showLine(line) {
    this.line = line;
    if (line !== null) this.at = null;
    this.show();
  }

  /** Takes a new picture. */
  follow(layout, picture) {
    this.layout = layout;
    this.picture = picture;
    this.show();
  }

  /** The elements whose place holds the pixel: those that are drawn first, the topmost first. */
  items() {
    if (!this.at || !this.picture?.items) return [];
    const { x, y } = this.at;
    const here = this.picture.items.filter((item) => item.x <= x && x < item.x + item.width && item.y <= y && y < item.y + item.height).reverse();
    return [...here.filter((item) => item.drawn), ...here.filter((item) => !item.drawn)];
  }

  show() {
    if (!this.picture?.items) return;
    const marks = [];
    const mark = (item) => {
      for (const kind of ["under", "over"]) marks.push(rectangle(item.x - 0.5, item.y - 0.5, item.width + 1, item.height + 1, kind));
    };
    const current = this.layout.current;
    if (this.at) {
      const items = this.items();
      if (items[0]) mark(items[0]);
      if (this.byKeys) marks.push(rectangle(this.at.x - 0.25, this.at.y - 0.25, 1.5, 1.5, "under"), rectangle(this.at.x - 0.25, this.at.y - 0.25, 1.5, 1.5, "cursor"));
      this.tell(items);
      this.light.lines(current && items[0] ? items[0].line : null, items[0]?.end_line, false);
      this.light.readings(items[0]?.readings ?? []);
    } else if (this.line !== null && current) {
      const of = this.layout.readings.findIndex((reading) => reading.line === this.line);
      const items = this.picture.items.filter((item) => (item.line <= this.line && this.line <= item.end_line) || item.readings.includes(of));
      items.forEach(mark);
      by("pixel").replaceChildren(line(items.length === 0 ? `Line ${this.line} paints nothing on this screen.` : `Line ${this.line}: ${items.length === 1 ? "one place is" : `${items.length} places are`} marked on the picture.`, "p"));
      this.light.readings(of >= 0 ? [of] : [...new Set(items.flatMap((item) => item.readings))]);
    } else {
      by("pixel").replaceChildren();
      this.light.lines(null);
      this.light.readings([]);
    }
    by("marks").replaceChildren(...marks);
  }

  /** Says whose pixel it is. */
  tell(items) {
    const { x, y } = this.at, [first, ...others] = items;
    const light = lit(this.picture.frame, this.panel.glass.width)(x, y) ? "lit" : "dark";
    const words = (item) => {
      const hidden = item.drawn ? "" : ", hidden since its when: does not hold";
      const shows = item.shows ? `, that shows ${item.shows}` : "";
      return `${item.what}${item.state ? `, ${item.state}` : ""}${shows}${hidden}`;
    };
    const head = document.createElement("p");
    head.append(line(`${x}, ${y}`, "strong"), ` is ${light}: ${first ? words(first) : "no element ever paints here"}`);
    const told = [head];
    if (first) {
      const place = document.createElement("p");
      const text = this.layout.current ? (this.layout.text.split("\n")[first.line - 1] ?? "").trim() : "";
      place.append(`${this.layout.current ? "line" : "in the last good file, line"} ${first.line}  `, line(text));
      const list = document.createElement("ul");
      for (const index of first.readings) {
        const { name, topic } = this.layout.readings[index] ?? {}, reading = this.picture.readings[index];
        if (!reading || !name) continue;
        const one = document.createElement("li");
        one.append(line(name, "strong"), `: ${reading.words ?? "no number"}, ${reading.state}, ${reading.number === null ? "" : `${age(reading.age_s)}, `}from `, line(topic));
        list.append(one);
      }
      told.push(place, first.readings.length === 0 ? line("it depends on no reading", "p") : list);
    }
    for (const other of others.slice(0, 3)) told.push(line(`also here: ${words(other)}, line ${other.line}`, "p"));
    by("pixel").replaceChildren(...told);
  }
}
