// The panel: its pixels on a canvas, on a piece of door frame, magnified or at true size, and as an eye has it from a distance.

const by = (id) => document.getElementById(id);

/** What lit pixels look like; the first rows of a two-colour glass are of another colour (16 rows, from memory). */
const COLOURS = { white: ["#f3f6ff"], blue: ["#6fbcff"], yellow: ["#ffd84d"], two: ["#6fbcff", "#ffd84d"] };
const BAND = 16;
/** The glass where nothing is lit. */
const DARK = "#050608";
/** A CSS pixel is 1/96 inch where nobody has measured (CSS Values and Units, section 6.2). */
const PIXELS_A_MM = 96 / 25.4;
/** The width of a bank card, ID-1 of ISO/IEC 7810, in mm. */
const CARD = 85.6;
/** An eye of 20/20 resolves a stroke of one minute of arc; taken as a Gaussian of that full width at half of its height. */
const MINUTE = Math.PI / 180 / 60;
const FULL_WIDTH = 2 * Math.sqrt(2 * Math.log(2));
/** The frame beside a door is some 70 mm wide (common practice). */
const FRAME_MM = 70;

function kept(name, usual) {
  try { return localStorage.getItem(`sidelight.${name}`) ?? usual; } catch { return usual; }
}
function keep(name, value) {
  try { localStorage.setItem(`sidelight.${name}`, value); } catch { /* a browser that keeps nothing */ }
}

/** The pixels of a frame: bytes in hexadecimal, page after page, eight rows of a column each, the least bit on top. */
export function lit(frame, width) {
  const bytes = Uint8Array.from(frame.match(/../g) ?? [], (byte) => parseInt(byte, 16));
  return (x, y) => (bytes[(y >> 3) * width + x] >> (y & 7)) & 1;
}

/** A rectangle in SVG. */
export function rectangle(x, y, width, height, kind) {
  const rect = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  for (const [name, value] of Object.entries({ x, y, width, height, class: kind })) rect.setAttribute(name, value);
  return rect;
}

export class Panel {
  constructor() {
    this.glass = { width: 128, height: 32, pitch_mm: 0.175 };
    this.frame = null;
    this.onresize = () => {};
    const size = by("size"), colour = by("colour"), distance = by("distance");
    size.value = kept("size", "fit");
    colour.value = kept("colour", "white");
    if (size.selectedIndex < 0) size.value = "fit";
    if (colour.selectedIndex < 0) colour.value = "white";
    this.mm = Number(kept("mm", "")) || PIXELS_A_MM;
    size.addEventListener("change", () => { keep("size", size.value); this.place(); this.onresize(); });
    colour.addEventListener("change", () => { keep("colour", colour.value); this.onresize(); });
    distance.addEventListener("input", () => this.blur());
    new ResizeObserver(() => {
      const width = by("scene").clientWidth;
      if (width !== this.width) { this.place(); this.onresize(); }
    }).observe(by("scene"));
    this.ruler();
  }

  /** Takes the glass that the layout is for. */
  fitTo(glass) {
    const same = ["width", "height", "pitch_mm", "seen_from_m"].every((part) => this.glass[part] === glass[part]);
    this.glass = glass;
    const two = by("colour").querySelector('option[value="two"]');
    two.disabled = glass.height <= BAND * 2;
    if (two.disabled && by("colour").value === "two") by("colour").value = "blue";
    if (!same) this.place();
  }

  /** CSS pixels for each pixel of the panel. */
  get scale() {
    const chosen = by("size").value;
    if (chosen === "true") return this.glass.pitch_mm * this.mm;
    if (chosen !== "fit") return Number(chosen);
    return Math.max(1, Math.floor((by("scene").clientWidth - 56) / this.glass.width));
  }

  /** Lays the scene out: the glass in the middle of the frame, as large as is wanted. */
  place() {
    const { width, height, pitch_mm } = this.glass;
    const scene = by("scene"), seen = by("seen"), picture = by("picture"), panel = by("panel");
    const scale = this.scale, mm = scale / pitch_mm;
    this.width = scene.clientWidth;
    const rim = Math.max(2, 1.6 * mm);
    const across = width * scale, down = height * scale;
    const total = Math.max(this.width, across + 2 * rim + 24);
    const tall = Math.max(200, down + 2 * rim + 64);
    seen.style.width = `${total}px`;
    seen.style.height = `${tall}px`;
    const left = Math.round((total - across) / 2), top = Math.round((tall - down) / 2);
    for (const one of [picture, panel]) {
      Object.assign(one.style, { left: `${left}px`, top: `${top}px`, width: `${across}px`, height: `${down}px` });
    }
    by("marks").setAttribute("viewBox", `0 0 ${width} ${height}`);
    by("marks").setAttribute("preserveAspectRatio", "none");
    this.paint(total, tall, { left: left - rim, top: top - rim, width: across + 2 * rim, height: down + 2 * rim, round: 0.8 * mm }, mm);
    this.blur();
  }

  /** Draws wall, frame, gap and door leaf, and the module's glass on the frame. */
  paint(total, tall, glass, mm) {
    const door = by("door");
    door.setAttribute("viewBox", `0 0 ${total} ${tall}`);
    const wide = Math.min(Math.max(FRAME_MM * mm, glass.width + 24), total - 44);
    const from = (total - wide) / 2, to = from + wide, edge = Math.min(10, Math.max(3, 1.2 * mm));
    const shadow = rectangle(glass.left + 2, glass.top + 4, glass.width, glass.height, "shadow");
    const face = rectangle(glass.left, glass.top, glass.width, glass.height, "glass");
    for (const one of [shadow, face]) one.setAttribute("rx", glass.round);
    door.replaceChildren(
      rectangle(0, 0, total, tall, "wall"),
      rectangle(from, 0, wide, tall, "frame"),
      rectangle(from - 3, 0, 3, tall, "frame-dark"),
      rectangle(from, 0, edge, tall, "frame-light"),
      rectangle(to - edge, 0, edge, tall, "frame-dark"),
      rectangle(to, 0, 4, tall, "gap"),
      rectangle(to + 4, 0, total - to, tall, "leaf"),
      rectangle(to + 4, 0, 3, tall, "leaf-dark"),
      shadow, face,
    );
  }

  /** Draws the frame's pixels: squares of whole screen pixels, with the dark gaps that a glass has between them. */
  draw(frame) {
    const { width, height } = this.glass;
    const canvas = by("picture"), pixels = window.devicePixelRatio || 1;
    const cell = Math.max(4, Math.round(this.scale * pixels));
    const gap = cell >= 5 ? Math.max(1, Math.round(cell * 0.12)) : 0;
    if (canvas.width !== width * cell || canvas.height !== height * cell) {
      canvas.width = width * cell;
      canvas.height = height * cell;
    }
    canvas.dataset.cell = cell;
    const [colour, band] = COLOURS[by("colour").value];
    const context = canvas.getContext("2d"), is = lit(frame, width);
    context.fillStyle = DARK;
    context.fillRect(0, 0, canvas.width, canvas.height);
    for (let y = 0; y < height; y += 1) {
      context.fillStyle = band && y < BAND ? band : colour;
      for (let x = 0; x < width; x += 1) {
        if (is(x, y)) context.fillRect(x * cell, y * cell, cell - gap, cell - gap);
      }
    }
  }

  /** Blurs the scene as an eye of 20/20 does from the chosen distance; the picture keeps its size. */
  blur() {
    const metres = Number(by("distance").value), { pitch_mm, seen_from_m, assumed_in } = this.glass;
    const sigma = (metres * 1000 * Math.tan(MINUTE)) / pitch_mm / FULL_WIDTH;
    by("blur").setAttribute("stdDeviation", (sigma * this.scale).toFixed(3));
    by("seen").style.filter = metres > 0 && !by("scene").classList.contains("aged") ? "url(#eye)" : "";
    by("distance-value").textContent = metres > 0 ? `${metres.toFixed(1)} m` : "close up";
    const rows = Math.ceil((2 * metres * Math.tan(16 * MINUTE / 2) * 1000) / pitch_mm);
    const words = [];
    if (metres > 0) words.push(`As an eye of 20/20 has it from ${metres.toFixed(1)} m, drawn no smaller: digits want ${rows} px from there (16 minutes of arc).`);
    if (seen_from_m) words.push(`The layout promises ${seen_from_m} m.`);
    if (assumed_in) words.push(`The layout does not say how large its panel is: ${assumed_in} in is taken, write diagonal: to say it.`);
    by("distance-words").textContent = words.join(" ");
  }

  /** The dialog by which a millimetre is measured on this screen. */
  ruler() {
    const dialog = by("ruler-dialog"), length = by("ruler-length");
    const show = () => {
      by("bar").style.width = `${length.value}px`;
      by("ruler-value").textContent = `${(length.value / CARD).toFixed(2)} px a mm`;
    };
    by("ruler").addEventListener("click", () => { length.value = Math.round(this.mm * CARD); show(); dialog.showModal(); });
    length.addEventListener("input", show);
    const close = (mm) => {
      this.mm = mm;
      keep("mm", String(mm));
      dialog.close();
      this.place();
      this.onresize();
    };
    by("ruler-done").addEventListener("click", () => close(Number(length.value) / CARD));
    by("ruler-back").addEventListener("click", () => close(PIXELS_A_MM));
  }
}
