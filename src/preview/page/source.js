// The file as it was read last: its lines with their numbers, and the findings of `check` beside them.

const by = (id) => document.getElementById(id);
/** Comments, texts, arguments, numbers with their units, and the words that statements begin with. */
const TOKENS = /(?<comment>#.*)|(?<text>"(?:[^"\\]|\\.)*"?)|(?<argument>[a-z]+:)|(?<number>-?\d[\d.]*(?:\.\.-?[\d.]+)?[^\s,(){}:]*)|(?<word>\b(?:panel|reading|value|screen|each|text|icon|bar|trend|rule|frame|space|columns|stack|overlay|picture)\b)/gu;

function piece(text, kind) {
  const one = document.createElement("span");
  one.className = kind;
  one.textContent = text;
  return one;
}

/** A line in pieces by kind. */
function pieces(text) {
  const found = [];
  let at = 0;
  for (const match of text.matchAll(TOKENS)) {
    if (match.index > at) found.push([text.slice(at, match.index), ""]);
    const kind = Object.entries(match.groups).find(([, value]) => value !== undefined)[0];
    found.push([match[0], `t-${kind}`]);
    at = match.index + match[0].length;
  }
  if (at < text.length) found.push([text.slice(at), ""]);
  return found;
}

export class Source {
  constructor(onLine) {
    this.onLine = onLine;
    this.lines = [];
    this.selected = 0;
    const list = by("lines");
    const of = (event) => event.target.closest(".line");
    list.addEventListener("pointerover", (event) => { const line = of(event); if (line) this.point(Number(line.dataset.line)); });
    list.addEventListener("pointerleave", () => this.point(null));
    list.addEventListener("click", (event) => { const line = of(event); if (line) this.select(Number(line.dataset.line)); });
    list.addEventListener("focus", () => { if (list.matches(":focus-visible")) this.select(this.selected || 1); });
    list.addEventListener("blur", () => this.point(null));
    list.addEventListener("keydown", (event) => {
      const last = this.lines.length;
      const to = { ArrowUp: this.selected - 1, ArrowDown: this.selected + 1, Home: 1, End: last, PageUp: this.selected - 10, PageDown: this.selected + 10 }[event.key];
      if (to === undefined) return;
      event.preventDefault();
      this.select(Math.min(Math.max(to, 1), last));
    });
  }

  /** Points at a line, or at none. */
  point(line) {
    if (line === this.pointed) return;
    this.pointed = line;
    this.onLine(line);
  }

  /** Goes to a line. */
  select(line) {
    const [before, now] = [this.lines[this.selected - 1], this.lines[line - 1]];
    before?.setAttribute("aria-selected", "false");
    this.selected = line;
    if (!now) return;
    now.setAttribute("aria-selected", "true");
    by("lines").setAttribute("aria-activedescendant", now.id);
    this.bring(now);
    this.point(line);
  }

  /** Scrolls a line into sight within the list, and nothing else. */
  bring(line) {
    const list = by("lines");
    const above = line.offsetTop - list.scrollTop, below = above + line.offsetHeight - list.clientHeight;
    if (above < 24) list.scrollTop += above - 24;
    else if (below > -24) list.scrollTop += below + 24;
  }

  /** Goes to a line with the keyboard, too. */
  go(line) {
    by("lines").focus();
    this.select(line);
  }

  /** Lights up the lines of an element. */
  light(first, last, jump) {
    this.lines.forEach((line, index) => line.classList.toggle("lit", first !== null && first <= index + 1 && index + 1 <= (last ?? first)));
    const line = first === null ? undefined : this.lines[first - 1];
    if (line) this.bring(line);
    if (line && jump) this.go(first);
  }

  /** Takes another text with its findings. */
  show(layout) {
    const list = by("lines"), scrolled = list.scrollTop;
    const texts = layout.text.replace(/\n$/, "").split("\n");
    this.lines = texts.map((text, index) => this.line(text, index + 1, layout.findings));
    list.replaceChildren(...this.lines);
    list.scrollTop = scrolled;
    this.selected = Math.min(this.selected, this.lines.length);
    if (this.selected > 0) {
      this.lines[this.selected - 1].setAttribute("aria-selected", "true");
      list.setAttribute("aria-activedescendant", this.lines[this.selected - 1].id);
    } else list.removeAttribute("aria-activedescendant");
    this.findings(layout);
  }

  line(text, number, findings) {
    const line = document.createElement("div");
    line.className = "line";
    line.id = `line-${number}`;
    line.dataset.line = number;
    line.setAttribute("role", "option");
    line.setAttribute("aria-selected", "false");
    const here = findings.filter((finding) => finding.line === number);
    const worst = here.find((finding) => finding.severity === "error") ?? here[0];
    if (worst) line.classList.add(worst.severity);
    const sign = worst ? (worst.severity === "error" ? "✗ " : "! ") : "";
    const at = piece(`${sign}${number}`, "at");
    if (worst) at.append(piece(` ${worst.severity}`, "unseen"));
    const code = piece("", "code");
    const letters = [...text];
    const end = worst ? (worst.end_line === number ? Math.max(worst.end_column, worst.column + 1) : letters.length + 1) : 0;
    let column = 1;
    for (const [part, kind] of pieces(text)) {
      // A finding's place cuts pieces into what lies before, within and behind it.
      const chars = [...part], from = column;
      column += chars.length;
      const cut = worst ? [worst.column, end].map((place) => Math.min(Math.max(place - from, 0), chars.length)) : [0, 0];
      for (const [begin, stop, mark] of [[0, cut[0], ""], [cut[0], cut[1], worst ? ` mark-${worst.severity}` : ""], [cut[1], chars.length, ""]]) {
        if (stop > begin) code.append(piece(chars.slice(begin, stop).join(""), kind + mark));
      }
    }
    if (worst && worst.column > letters.length) code.append(piece(" ", `mark-${worst.severity}`));
    if (text === "") code.append("\u200b");
    line.append(at, code);
    return line;
  }

  findings(layout) {
    const each = layout.findings.map((finding) => {
      const item = document.createElement("li"), button = document.createElement("button");
      item.className = finding.severity;
      button.type = "button";
      const help = finding.help ? [piece(finding.help, "help")] : [];
      button.append(piece(`${finding.severity === "error" ? "✗ error" : "! warning"}, line ${finding.line}: ${finding.name}`, "name"), finding.message + (finding.label ? `: ${finding.label}` : ""), ...help);
      button.addEventListener("click", () => this.go(finding.line));
      item.append(button);
      return item;
    });
    if (each.length === 0) {
      const clean = document.createElement("li");
      clean.className = "clean";
      clean.textContent = layout.unread ?? "No findings: nothing that its readings can give is clipped or overlaps.";
      each.push(clean);
    }
    by("findings").replaceChildren(...each);
  }
}
