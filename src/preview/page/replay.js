// The recording: a slider for its time, "play", and for each reading a strip that tells its state along that time. What is shown at a
// time, and what it is called, comes from the program.

const by = (id) => document.getElementById(id);
const STATES = { l: "live", s: "stale", w: "waiting", f: "faulty" };
/** Top and height of each state's bar, in a strip of 14 px: told apart by height and pattern, not by colour alone. */
const BARS = { live: [1, 12], stale: [5, 8], waiting: [11, 2], faulty: [1, 12] };
/** What a key may go, in milliseconds, with its words. */
const STEPS = [[1, "1 ms"], [10, "10 ms"], [100, "0.1 s"], [1000, "1 s"], [5000, "5 s"], [15_000, "15 s"], [60_000, "1 min"], [300_000, "5 min"], [900_000, "15 min"], [3_600_000, "1 h"], [21_600_000, "6 h"], [86_400_000, "1 d"], [604_800_000, "7 d"]];
/** An arrow key goes about so large a part of the whole. */
const PARTS = 300;
/** So long after a move the slider stays where somebody has put it. */
const SETTLED = 200;
const SLOW = window.matchMedia("(prefers-reduced-motion: reduce)");

function draw(kind, attributes) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", kind);
  for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
  return one;
}

function make(kind, text = "", kindOf = "") {
  const one = document.createElement(kind);
  one.textContent = text;
  if (kindOf) one.className = kindOf;
  return one;
}

/** Runs of equal letters: from where, to where, which. */
function runs(letters) {
  return [...letters.matchAll(/(.)\1*/gs)].map((run) => [run.index, run.index + run[0].length, run[1]]);
}

export class Replay {
  constructor(ask) {
    this.ask = ask;
    this.course = null;
    this.wanted = null;
    this.busy = false;
    this.moved = 0;
    this.steps = [STEPS[3], STEPS[3], STEPS[3]];
    const at = by("at");
    at.addEventListener("input", () => this.go(Number(at.value)));
    at.addEventListener("keydown", (event) => this.key(event));
    by("roll").addEventListener("click", () => this.roll(by("roll").getAttribute("aria-pressed") !== "true"));
    by("speed").addEventListener("change", () => { if (by("roll").getAttribute("aria-pressed") === "true") this.roll(true); });
    by("strips").addEventListener("click", (event) => {
      const strip = event.target.closest("svg");
      if (!strip || !this.course) return;
      const { left, width } = strip.getBoundingClientRect();
      by("at").value = Math.round(Math.min(Math.max((event.clientX - left) / width, 0), 1) * this.course.span_ms);
      this.go(Number(by("at").value));
    });
  }

  roll(on) {
    this.ask("/replay", on ? { play: { speed: Number(by("speed").value), every: SLOW.matches ? 2500 : 100 } } : "pause");
  }

  key(event) {
    const [small, usual, large] = this.steps.map(([step]) => step);
    const step = event.shiftKey ? small : usual;
    const moves = { ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step, PageUp: large, PageDown: -large, Home: -Infinity, End: Infinity };
    if (!(event.key in moves) || !this.course) return;
    event.preventDefault();
    const to = Math.min(Math.max(Number(by("at").value) + moves[event.key], 0), this.course.span_ms);
    by("at").value = to;
    this.go(to);
  }

  /** Goes to a time; of several that are asked for while the program is at one, only the newest. */
  async go(to) {
    this.wanted = to;
    this.moved = Date.now();
    if (this.busy) return;
    this.busy = true;
    while (this.wanted !== null) {
      const next = this.wanted;
      this.wanted = null;
      await this.ask("/replay", { to: next });
    }
    this.busy = false;
    // What was told meanwhile may be of a place before; once that is over, the slider is where the program is.
    setTimeout(() => { if (this.told) this.place(this.told); }, SETTLED);
  }

  /** Takes the line: how long it is, and how the readings stood along it. */
  show(told) {
    by("recording").hidden = false;
    by("recording-file").textContent = told.file;
    const course = told.course;
    const trouble = told.trouble ?? course?.short ?? null;
    by("recording-trouble").hidden = trouble === null;
    if (by("recording-trouble").textContent !== (trouble ?? "")) by("recording-trouble").textContent = trouble ?? "";
    const reading = told.ready ? "" : "It is being read for this layout. ";
    by("recording-words").textContent = `${reading}${course ? `${course.words}. Screens: ${course.screens.map(({ name, words }) => `${name} ${words}`).join(", ")}.` : ""}`;
    by("line").hidden = !course;
    document.documentElement.dataset.recording = told.ready ? "ready" : "reading";
    if (!course) return;
    this.course = course;
    const at = by("at");
    at.max = Math.max(course.span_ms, 1);
    const usual = Math.max(STEPS.findIndex(([step]) => step >= course.span_ms / PARTS), 0);
    this.steps = [usual - 2, usual, usual + 2].map((place) => STEPS[Math.min(Math.max(place, 0), STEPS.length - 1)]);
    const [small, middle, large] = this.steps.map(([, words]) => words);
    by("at-help").textContent = `Arrow keys go ${middle}, with Shift ${small}, Page Up and Page Down ${large}, Home and End to the ends. A column of a strip is as bad as the worst in it.`;
    const share = (milliseconds) => (100 * milliseconds) / Math.max(course.span_ms, 1);
    by("time-marks").replaceChildren(...course.marks.map(({ at_ms, words }) => {
      const mark = make("span", words, share(at_ms) > 85 ? "left" : "");
      mark.style.left = `${share(at_ms)}%`;
      return mark;
    }));
    this.here = [];
    by("strips").replaceChildren(...course.readings.map((reading) => this.strip(reading, share)));
    if (this.told) this.place(this.told);
  }

  strip({ name, columns, words }, share) {
    const svg = draw("svg", { "aria-hidden": "true", focusable: "false" });
    svg.append(draw("rect", { class: "ground", x: 0, y: 0, width: "100%", height: 14 }));
    const parts = runs(columns).map(([from, to, letter]) => {
      const state = STATES[letter], [top, height] = BARS[state];
      const left = share(from * this.course.column_ms), right = Math.min(share(to * this.course.column_ms), 100);
      return { state, bar: draw("rect", { class: state, x: `${left}%`, y: top, width: `${Math.max(right - left, 0)}%`, height }) };
    });
    // The worst last, so that a short one is not covered by its neighbours.
    for (const state of ["live", "waiting", "stale", "faulty"]) svg.append(...parts.filter((part) => part.state === state).map((part) => part.bar));
    const here = draw("line", { class: "here", x1: 0, x2: 0, y1: -2, y2: 16 });
    this.here.push(here);
    svg.append(here);
    const item = make("li"), head = make("p");
    head.append(make("strong", name), make("span", words));
    item.append(head, svg);
    return item;
  }

  /** Takes where in the recording one is. */
  place(told) {
    this.told = told;
    const at = by("at"), moving = this.busy || Date.now() - this.moved < SETTLED;
    if (!moving) at.value = told.at_ms;
    at.dataset.told = told.at_ms;
    by("at-value").textContent = told.time;
    at.setAttribute("aria-valuetext", told.words);
    const on = told.speed !== null;
    by("roll").setAttribute("aria-pressed", String(on));
    by("roll").textContent = on ? "Pause it" : "Play it";
    if (on && by("speed").value !== String(told.speed) && document.activeElement !== by("speed")) by("speed").value = String(told.speed);
    if (!this.course) return;
    const share = `${(100 * told.at_ms) / Math.max(this.course.span_ms, 1)}%`;
    for (const line of this.here) {
      line.setAttribute("x1", share);
      line.setAttribute("x2", share);
    }
  }
}
