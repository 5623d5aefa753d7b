// The controls: a reading's number, state, age and past, the screen, the time, and "play". What somebody is just moving is left alone
// when the program answers.

import { age } from "/pointer.js";

const by = (id) => document.getElementById(id);
const STATES = ["live", "stale", "waiting", "faulty"];
/** So that the state can be told without its colour and its word: full, half, empty, crossed. */
const SIGNS = { live: "●", stale: "◐", waiting: "○", faulty: "⊗" };
const PASTS = { waves: "waves", steady: "steady", rising: "rising", falling: "falling", none: "none" };
const SLOW = window.matchMedia("(prefers-reduced-motion: reduce)");

function make(kind, properties = {}, ...children) {
  const one = Object.assign(document.createElement(kind), properties);
  one.append(...children);
  return one;
}

export class Controls {
  constructor(ask) {
    this.ask = ask;
    this.rows = [];
    this.built = "";
    this.waiting = new Map();
    this.busy = false;
    this.touched = new WeakMap();
    const change = (what) => this.change(Object.keys(what)[0], what);
    by("screen").addEventListener("change", () => change({ screen: by("screen").value || null }));
    by("time").addEventListener("change", () => change({ time: by("time").value || null }));
    by("now").addEventListener("click", () => change({ time: null }));
    by("clock").addEventListener("input", () => {
      const minutes = Number(by("clock").value), two = (number) => String(number).padStart(2, "0");
      this.touched.set(by("clock"), Date.now());
      change({ time: `${this.day()}T${two(Math.floor(minutes / 60))}:${two(minutes % 60)}` });
    });
    by("play").addEventListener("click", () => {
      const on = by("play").getAttribute("aria-pressed") === "true";
      this.ask("/play", { every: on ? null : SLOW.matches ? 2500 : 500 });
    });
    setInterval(() => this.grow(), 1000);
  }

  /** Sends a change; of several to the same thing only the newest, so that a slider cannot run ahead of the program. */
  async change(key, what) {
    this.waiting.set(key, what);
    if (this.busy) return;
    this.busy = true;
    while (this.waiting.size > 0) {
      const [next, change] = this.waiting.entries().next().value;
      this.waiting.delete(next);
      await this.ask("/change", change);
    }
    this.busy = false;
  }

  day() {
    const chosen = by("time").value.slice(0, 10);
    if (chosen) return chosen;
    const now = new Date();
    return new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10);
  }

  /** Makes a control for each reading; those that are there already and mean the same stay as they are. */
  build(layout) {
    const readings = JSON.stringify([layout.readings, layout.source]);
    if (readings !== this.built) {
      this.built = readings;
      const focused = document.activeElement?.id;
      this.rows = layout.readings.map((reading, index) => this.row(reading, index, layout.source));
      by("readings").replaceChildren(...this.rows.map((row) => row.box));
      if (focused) document.getElementById(focused)?.focus();
    }
    // A recording brings its own time, and its own life.
    const recorded = layout.source === "recording";
    for (const part of document.querySelectorAll(".own-time")) part.hidden = recorded;
    const screens = JSON.stringify(layout.screens);
    if (screens !== this.screens) {
      this.screens = screens;
      by("screen").replaceChildren(make("option", { value: "", textContent: "as the layout says" }),
        ...layout.screens.map((name) => make("option", { value: name, textContent: name })));
    }
  }

  row(reading, index, source) {
    const id = `reading-${index}`, name = reading.name;
    const change = (kind, to) => this.change(`${kind} ${name}`, { [kind]: to === undefined ? { reading: name } : { reading: name, to } });
    const row = { reading, index };
    row.now = make("span", { className: "now" });
    row.slider = make("input", { type: "range", id: `${id}-slider`, min: reading.low, max: reading.high, step: reading.step, ariaLabel: `${name}, slider` });
    row.field = make("input", { type: "number", id: `${id}-field`, step: "any", ariaLabel: `${name}${reading.unit ? ` in ${reading.unit}` : ""}` });
    row.slider.addEventListener("input", () => {
      this.touched.set(row.slider, Date.now());
      row.field.value = row.slider.value;
      change("number", Number(row.slider.value));
    });
    row.field.addEventListener("input", () => {
      this.touched.set(row.field, Date.now());
      if (row.field.value !== "" && Number.isFinite(row.field.valueAsNumber)) change("number", row.field.valueAsNumber);
    });
    row.words = reading.words.map(({ word, number }) => this.choice(`${id}-word`, word, () => change("number", number), number));
    row.states = STATES.map((state) => this.choice(`${id}-state`, state, () => change("state", state), state));
    row.age = make("input", { type: "number", id: `${id}-age`, min: 0, step: 1, placeholder: "–" });
    row.age.addEventListener("input", () => {
      this.touched.set(row.age, Date.now());
      change("age", row.age.value === "" ? null : Math.max(0, row.age.valueAsNumber));
    });
    row.past = make("select", { id: `${id}-past` }, ...Object.entries(PASTS).map(([value, textContent]) => make("option", { value, textContent })));
    row.past.addEventListener("change", () => change("past", row.past.value));
    const group = (legend, choices) => make("fieldset", { className: "choices" }, make("legend", { className: "unseen", textContent: `${name}: ${legend}` }), ...choices.map((one) => one.label));
    const limit = reading.stale_s === null ? "s" : `s of ${reading.stale_s}`;
    const more = make("div", { className: "more" }, group("state", row.states), make("label", { title: "How long ago it was heard; empty, the state decides" }, "age", row.age, limit));
    if (reading.past && !source) more.append(make("label", {}, "past", row.past));
    row.box = make("li", { className: "reading" },
      make("div", { className: "top" }, make("h3", { textContent: name }), make("code", { className: "topic", textContent: reading.topic }), row.now),
      reading.words.length > 0 ? group("word", row.words) : make("div", { className: "value" }, row.slider, row.field, make("span", { className: "unit", textContent: reading.unit })),
      more);
    row.source = source;
    if (source) {
      row.follows = make("span");
      row.release = make("button", { type: "button", textContent: `Back to the ${source}`, ariaLabel: `Give ${name} back to the ${source}` });
      row.release.addEventListener("click", () => change("release"));
      row.box.append(make("div", { className: "follow" }, row.follows, row.release));
    }
    return row;
  }

  /** One of several, as a radio button. */
  choice(group, word, chosen, value) {
    const input = make("input", { type: "radio", name: group, id: `${group}-${word}` });
    input.addEventListener("change", chosen);
    return { input, value, label: make("label", {}, input, make("span", { textContent: word })) };
  }

  /** Whether somebody is at it. */
  isMoving(input) {
    return Date.now() - (this.touched.get(input) ?? 0) < 700;
  }

  /** Takes what the readings are now. */
  show(picture) {
    this.at = Date.now();
    this.picture = picture;
    for (const row of this.rows) {
      const told = picture.readings?.[row.index];
      if (!told) continue;
      const number = told.held ? told.set.number : told.number ?? told.set.number;
      if (!this.isMoving(row.slider)) row.slider.value = number;
      if (!this.isMoving(row.field) || document.activeElement !== row.field) row.field.value = number;
      if (!this.isMoving(row.age)) row.age.value = told.set.age_s ?? "";
      row.past.value = told.set.past;
      row.slider.ariaValueText = told.words ?? told.state;
      for (const { input, value } of row.words) input.checked = value === number;
      for (const { input, value } of row.states) input.checked = value === told.state;
      if (row.follows) {
        row.follows.textContent = told.held ? "set here" : told.fault ? `follows the ${row.source}: ${told.fault}` : `follows the ${row.source}`;
        row.release.hidden = !told.held;
      }
    }
    this.grow();
    if (by("screen").value !== (picture.chosen ?? "")) by("screen").value = picture.chosen ?? "";
    this.time(picture.time);
    by("play").setAttribute("aria-pressed", String(picture.playing));
    by("play").textContent = picture.playing ? "Pause" : "Play";
  }

  /** Says what each reading is, with ages that grow where a broker's messages grow old. */
  grow() {
    for (const row of this.rows) {
      const told = this.picture?.readings?.[row.index];
      if (!told) continue;
      const passed = told.held || told.age_s === null || row.source === "recording" ? 0 : (Date.now() - this.at) / 1000;
      const old = told.number === null ? "" : `, ${age(told.age_s === null ? null : told.age_s + passed)}`;
      const words = `${SIGNS[told.state]} ${told.words ?? "no number"}, ${told.state}${old}`;
      if (row.now.textContent !== words) row.now.textContent = words;
    }
  }

  time(chosen) {
    const now = new Date();
    const shown = chosen ?? new Date(now.getTime() - now.getTimezoneOffset() * 60000).toISOString();
    const [hours, minutes] = shown.slice(11, 16).split(":").map(Number);
    if (document.activeElement !== by("time")) by("time").value = chosen ? chosen.slice(0, 16) : "";
    if (!this.isMoving(by("clock"))) by("clock").value = hours * 60 + minutes;
    by("clock-value").textContent = chosen ? shown.slice(11, 16) : "now";
    by("clock").ariaValueText = chosen ? shown.slice(11, 16) : "this machine’s clock";
    by("now").disabled = !chosen;
  }

  /** Lights up the readings at these places. */
  light(places) {
    for (const row of this.rows) row.box.classList.toggle("lit", places.includes(row.index));
  }
}
