// What stands below: the cost on the bus, from how far texts can be read, how the panel wears, and every look of the layout.

import { lit } from "/panel.js";

const by = (id) => document.getElementById(id);

function make(kind, className, text) {
  const one = document.createElement(kind);
  if (className) one.className = className;
  if (text !== undefined) one.textContent = text;
  return one;
}

/** Says what the last change cost. */
export function showBus({ last, whole }) {
  const writes = last.writes === 1 ? "one write" : `${last.writes} writes`;
  by("bus").textContent = `The last change took ${last.bytes} bytes in ${writes}, ${last.ms.toFixed(1)} ms at 400 kHz; a whole picture takes ${whole.bytes}.`;
}

/** Lists from how far each text can be read. */
export function showDistances(layout, go) {
  const place = by("distances");
  if (layout.distances.length === 0) {
    const words = layout.panel.assumed_in ? `Say how large the panel is, such as panel ${layout.panel.width}x${layout.panel.height} diagonal: ${layout.panel.assumed_in}in, and the distances stand here.` : "There is no text on it.";
    place.replaceChildren(make("p", "aside", words));
    return;
  }
  const table = make("table");
  const head = make("tr"), body = make("tbody");
  for (const [words, kind] of [["line", "r"], ["text", ""], ["digits", "r"], ["height", "r"], ["with ease up to", "r"], ["at most", "r"]]) {
    const cell = make("th", kind, words);
    cell.scope = "col";
    head.append(cell);
  }
  for (const text of layout.distances) {
    const row = make("tr"), line = make("td", "r"), button = make("button", "", String(text.line)), source = make("td", "grow");
    button.type = "button";
    button.setAttribute("aria-label", `Go to line ${text.line}`);
    button.addEventListener("click", () => go(text.line));
    line.append(button);
    source.append(make("code", "", text.source));
    row.append(line, source, make("td", "r", `${text.rows} px`), make("td", "r", `${text.height_mm.toFixed(1)} mm`), make("td", "r", `${text.with_ease_m.toFixed(2)} m`), make("td", "r", `${text.at_most_m.toFixed(2)} m`));
    body.append(row);
  }
  const top = make("thead");
  top.append(head);
  table.append(top, body);
  place.replaceChildren(table, make("p", "aside", "With ease: 20 minutes of arc; at most: 16 (ISO 9241-303)."));
}

/** A frame at one screen pixel a pixel, for the browser to enlarge. */
function picture({ frame, width, height }) {
  const canvas = make("canvas");
  canvas.width = width;
  canvas.height = height;
  const context = canvas.getContext("2d"), image = context.createImageData(width, height), is = lit(frame, width);
  for (let y = 0; y < height; y += 1) {
    for (let x = 0; x < width; x += 1) image.data.set(is(x, y) ? [243, 246, 255, 255] : [0, 0, 0, 255], (y * width + x) * 4);
  }
  context.putImageData(image, 0, 0);
  return canvas;
}

/** Draws how worn each pixel would be beside the most worn one, and lists what brightness is left. */
export function showWear(wear) {
  const canvas = make("canvas"), figure = make("figure"), table = make("table"), head = make("tr"), body = make("tbody");
  canvas.width = wear.width;
  canvas.height = wear.height;
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", "Picture of the wear: the most worn pixel white, one that was never lit black");
  const context = canvas.getContext("2d"), image = context.createImageData(wear.width, wear.height);
  (wear.shades.match(/../g) ?? []).forEach((shade, index) => {
    const light = parseInt(shade, 16);
    image.data.set([light, light, light, 255], index * 4);
  });
  context.putImageData(image, 0, 0);
  figure.append(canvas, make("figcaption", "", `If the recording went on and on: the most worn pixel is white, one that was never lit black. ${wear.words}`));
  for (const words of ["brightness left", ...wear.years]) {
    const cell = make("th", words === "brightness left" ? "" : "r", words);
    cell.scope = "col";
    head.append(cell);
  }
  for (const { name, left } of wear.rows) {
    const row = make("tr"), first = make("th", "", name);
    first.scope = "row";
    row.append(first, ...left.map((share) => make("td", "r", share)));
    body.append(row);
  }
  const top = make("thead"), words = make("p", "aside", `By a stretched exponential with half of the brightness left after ${wear.half_life_h} h of light, as is usual; `);
  top.append(head);
  table.append(top, body);
  words.append(make("code", "", "sidelight wear --half-life"), " takes what the module’s data sheet says.");
  by("wear").replaceChildren(figure, table, words);
}

/** Lays out every look, screen by screen. */
export function showSheet(sheet, take) {
  const place = by("sheet");
  place.setAttribute("aria-busy", "false");
  if (sheet.left_out) {
    place.replaceChildren(make("p", "aside", sheet.left_out));
    return;
  }
  const parts = [];
  let row = null, screen = null;
  sheet.pictures.forEach((look, index) => {
    if (look.screen !== screen) {
      screen = look.screen;
      row = make("ul", "pictures");
      parts.push(make("h3", "", `screen ${screen}`), row);
    }
    const item = make("li"), button = make("button", "look"), canvas = picture(look);
    const instead = look.instead ? `: ${look.instead} instead` : look.dark ? ": nothing is shown" : "";
    button.type = "button";
    canvas.setAttribute("aria-hidden", "true");
    button.append(canvas, make("span", "words", look.words + instead), make("span", "detail", look.detail));
    button.addEventListener("click", () => take(index));
    item.append(button);
    row.append(item);
  });
  place.replaceChildren(...parts);
}
