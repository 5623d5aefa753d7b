// The page: hears what is new from the program, hands it to the parts, and lets them speak with each other. What is computed of
// readings is computed by the program.

import { Panel } from "/panel.js";
import { Pointer } from "/pointer.js";
import { Controls } from "/controls.js";
import { Replay } from "/replay.js";
import { Source } from "/source.js";
import { showBus, showDistances, showSheet, showWear } from "/tables.js";

const by = (id) => document.getElementById(id);

const panel = new Panel();
const source = new Source((line) => pointer.showLine(line));
const controls = new Controls(ask);
const replay = new Replay(ask);
const pointer = new Pointer(panel, {
  lines: (first, last, jump) => source.light(first, last, jump),
  readings: (places) => controls.light(places),
});

let layout = null;
let picture = null;
let goodSince = "";

/** Asks the program for something; what comes of it comes as an event. */
async function ask(path, what) {
  try {
    const answer = await fetch(path, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(what),
    });
    if (!answer.ok) say((await answer.text()).trim());
  } catch {
    // The stream of events tells when the program is gone.
  }
}

let sayUntil = 0;
function say(words) {
  by("condition").textContent = words;
  sayUntil = Date.now() + 4000;
  setTimeout(showCondition, 4100);
}

function showCondition() {
  if (Date.now() < sayUntil || !layout) return;
  const count = (number, what) => `${number} ${what}${number === 1 ? "" : "s"}`;
  const place = by("condition");
  const findings = layout.errors + layout.warnings;
  place.className = layout.errors > 0 || layout.unread ? "bad" : "";
  if (layout.unread) place.textContent = layout.unread;
  else if (findings === 0) place.textContent = "clean";
  else place.textContent = `${count(layout.errors, "error")} and ${count(layout.warnings, "warning")}`;
}

function showAge() {
  const old = layout !== null && !layout.current;
  const notice = by("old");
  by("scene").classList.toggle("aged", old);
  panel.blur();
  if (old) {
    const why = layout.unread ?? `The file has ${layout.errors === 1 ? "a mistake" : "mistakes"}.`;
    const words = layout.panel ? `${why} This is the last good picture, from ${goodSince}.` : `${why} There was no good picture yet.`;
    if (notice.textContent !== words) notice.textContent = words;
  }
  notice.hidden = !old;
}

function hearLayout(told) {
  layout = told;
  if (told.current) goodSince = new Date().toLocaleTimeString();
  const name = told.file.split("/").pop();
  by("file").textContent = name;
  by("file").title = told.file;
  document.title = `${name} · sidelight preview`;
  source.show(told);
  showCondition();
  showAge();
  if (told.panel) {
    panel.fitTo(told.panel);
    controls.build(told);
    showDistances(told, (line) => source.go(line));
  }
  // Readings and picture belong together: the picture that follows fills them.
}

function hearPicture(told) {
  picture = told;
  by("broker").hidden = !told.broker;
  by("broker").textContent = told.broker ?? "";
  if (told.place) replay.place(told.place);
  if (!layout?.panel || told.frame === null) return;
  panel.draw(told.frame);
  const says = told.says.join(" · ");
  const shown = told.screen === null ? "no screen: no condition holds" : `screen ${told.screen}`;
  by("says").textContent = says === "" ? shown : `${says} (${shown})`;
  by("panel").setAttribute("aria-label", `Picture of the panel, ${shown}: ${says}`);
  showBus(told.bus);
  controls.show(told);
  pointer.follow(layout, told);
}

const events = new EventSource("/events");
events.addEventListener("layout", (event) => hearLayout(JSON.parse(event.data)));
events.addEventListener("picture", (event) => {
  hearPicture(JSON.parse(event.data));
  document.documentElement.dataset.ready = "yes";
});
events.addEventListener("recording", (event) => {
  const told = JSON.parse(event.data);
  replay.show(told);
  if (told.course) showWear(told.course.wear);
});
events.addEventListener("sheet", (event) => showSheet(JSON.parse(event.data), (place) => ask("/change", { situation: place })));
events.addEventListener("error", () => {
  sayUntil = 0;
  by("condition").className = "bad";
  by("condition").textContent = "The program does not answer: it may have ended. This page goes on when it is back.";
});
events.addEventListener("open", () => { sayUntil = 0; showCondition(); });

panel.onresize = () => { if (picture && layout?.panel && picture.frame) { panel.draw(picture.frame); pointer.follow(layout, picture); } };
