// The page: what comes goes to the parts that show it, what is pressed goes to the server.

import { Legs } from "/look/legs.js";
import { Figures, Knobs, byId, element, tellArming, tellEvent, tellFaults, tellLoop, write } from "./panels.js";
import { Sim } from "./sim.js";
import { openStream } from "./stream.js";
import { Traces } from "./traces.js";

const VALUES_MS = 200;
const OLD_MS = 500;
const ANSWER_MS = 6000;
const page = { state: null, charge: { mine: false, taken: false, pages: 0 }, settings: null, ups: [0, 0] };
let legs, figures, traces, sim, knobs;
let seen = 0;

const hear = {
  welcome(message) {
    page.welcome = message;
    write(byId("port"), `on ${message.board.real ? message.board.port : "a simulated rig"}`);
    legs = new Legs(byId("legs"), message.shape, message.legs);
    if (!traces) {
      traces = new Traces(byId("charts"), byId("phases"), message);
      figures = new Figures(byId("figures"), message.legs);
      knobs = new Knobs(byId("knobs"), ask);
    }
    if (message.troubles.length) sim = new Sim(ask, message);
    tellCautions(message);
    buildPress(message.legs);
    message.events.forEach(happened);
  },
  charge(message) {
    page.charge = message;
    tellCharge();
  },
  settings(message) {
    page.settings = message;
    knobs.tell(message);
    tellSettings();
  },
  state(message) {
    page.state = message;
    traces.standing(message.legs);
    message.events.forEach(happened);
    tellState();
  },
  rows: (buffer) => traces?.take(buffer),
  answer: (message) => answer(message.words, !message.done),
  closed() {
    page.charge = { mine: false, taken: false, pages: 0 };
    tellCharge();
    tellBanner();
  },
};
const stream = openStream(hear);

function ask(word, fields) {
  if (!stream.ask(word, fields)) answer("No connection to the bench.", true);
}

// Stop: from anywhere on the page, before anything else gets the key.

function stop() {
  if (!stream.ask("stop")) {
    answer("This page has no connection and cannot stop anything: press the emergency stop.", true);
  }
}
for (const kind of ["keydown", "keyup"]) {
  window.addEventListener(kind, (event) => {
    if (event.code !== "Space") return;
    event.preventDefault();
    event.stopImmediatePropagation();
    if (kind === "keydown" && !event.repeat) stop();
  }, true);
}
byId("stop").addEventListener("pointerdown", stop);
byId("stop").addEventListener("click", (event) => { if (event.detail === 0) stop(); });

byId("take").onclick = () => ask("take");
byId("leave").onclick = () => ask("leave");
byId("undo").onclick = () => ask("undo");
byId("keep").onclick = () => ask("keep");
byId("record").onclick = () => ask("record", { on: !page.state?.recording });
byId("mark").onsubmit = (event) => {
  event.preventDefault();
  ask("mark", { text: byId("mark-text").value });
  byId("mark-text").value = "";
};

function buildPress(names) {
  const box = byId("press");
  box.replaceChildren(element("span", "In this page's name:", { class: "fine" }));
  names.forEach((name, leg) => {
    const button = element("button", `Raise ${name} foot`, { type: "button", "aria-pressed": "false" });
    button.onclick = () => {
      const on = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(on));
      ask("press", { leg, on });
    };
    box.append(button);
  });
}

let answerTimer = 0;
function answer(words, bad) {
  if (!words) return;
  const box = byId("answer");
  box.className = bad ? "bad" : "";
  box.textContent = words;
  clearTimeout(answerTimer);
  answerTimer = setTimeout(() => { box.textContent = ""; }, ANSWER_MS);
}

function happened(event) {
  if (event.number <= seen) return;
  seen = event.number;
  tellEvent(byId("events"), event);
  traces.happened(event);
}

function tellCautions({ board, cautions }) {
  const box = byId("cautions");
  box.replaceChildren();
  if (!board.real) return;
  box.append(element("h2", "Before anything moves"));
  const list = element("ul");
  cautions.forEach((words) => list.append(element("li", words)));
  box.append(list);
}

const armed = () => Boolean(page.state?.flags.contactor);
const bothOff = () => Boolean(page.state?.legs.every((leg) => leg.off));

function stateWords() {
  const { state } = page;
  if (!stream.open || !state) return "Not connected";
  if (state.trouble || state.silent) return "No board";
  if (state.stopping) return "Stopping…";
  const fault = state.faults[0];
  if (fault) return `${armed() ? "Letting down" : "Off"}: ${fault.name}, ${fault.whose}`;
  if (!armed()) return state.flags.arm ? "Arming…" : "Off";
  const [left, right] = state.legs.map((leg) => leg.phase);
  return left === right ? `Armed: both legs ${left}` : `Armed: left ${left}, right ${right}`;
}

function tellBanner() {
  const banner = byId("banner");
  let words = "";
  if (!stream.open) words = "This page has lost its bench and cannot stop anything: use the emergency stop.";
  else if (!stream.fresh()) words = "Nothing comes from the bench any more; what is shown is old: use the emergency stop.";
  else if (page.state?.silent && !page.state.trouble) words = "No tick comes from the board; what is shown is old: use the emergency stop.";
  else if (page.state?.trouble) words = `No board, so this page cannot stop anything: use the emergency stop. ${page.state.trouble}`;
  banner.hidden = !words;
  write(banner, words);
  write(byId("state"), stateWords());
}

function tellCharge() {
  const { mine, taken, pages } = page.charge;
  const others = pages > 1 ? `, ${pages - 1} more watching` : "";
  const words = mine ? `This page is in charge${others}.`
    : taken ? "This page watches; another is in charge." : "Nobody is in charge.";
  write(byId("charge"), words);
  byId("take").hidden = mine;
  byId("take").disabled = taken;
  byId("leave").hidden = !mine;
  byId("charge").title = mine
    ? `While armed, the feet are let down ${page.welcome?.host_s ?? ""} s after this page falls silent, is hidden or closed.` : "";
  tellSettings();
}

function tellSettings() {
  const { settings, charge } = page;
  if (!settings || !knobs) return;
  const free = charge.mine && bothOff();
  const stage = settings.stage ? `Stage ${settings.stage.name}: ${settings.stage.meaning}. ` : "";
  const odd = settings.odd.length
    ? `The board has ${settings.odd.length} settings otherwise than this rig file (${settings.odd.slice(0, 4).join(", ")}${settings.odd.length > 4 ? "…" : ""}): flash it, or start bench with its own rig file. ` : "";
  const why = free ? "Changes act at once." : charge.mine ? "They can be changed while both legs are off." : "Only the page in charge changes them.";
  write(byId("settings-words"), stage + odd + why);
  knobs.allow(free);
  byId("undo").disabled = !free || !settings.undo;
  byId("keep").disabled = !free || settings.kept;
  write(byId("kept"), settings.kept ? "The board keeps them as they are." : "Changed, and gone with the board's power unless kept.");
  byId("lines").hidden = !settings.lines.length;
  write(byId("lines-text"), settings.lines.join("\n"));
  const stand = settings.stage && ["unloaded", "stand"].includes(settings.stage.name);
  byId("press").hidden = !stand;
  for (const button of byId("press").querySelectorAll("button")) {
    button.disabled = !charge.mine || !armed();
    if (!armed()) button.setAttribute("aria-pressed", "false");
  }
}

function tellState() {
  const { state } = page;
  tellBanner();
  tellFaults(byId("faults"), state.faults);
  tellArming(byId("arming"), state.arming, armed());
  tellSettings();
  if (sim && state.people) sim.tell(state.people, page.charge.mine);
  const { recording } = state;
  write(byId("record"), recording ? "End recording" : "Record");
  byId("record").setAttribute("aria-pressed", String(Boolean(recording)));
  for (const id of ["record", "mark-text"]) byId(id).disabled = !page.charge.mine;
  byId("mark").querySelector("button").disabled = !page.charge.mine;
  write(byId("recording"), recording
    ? `${recording.name}: ${recording.seconds.toFixed(0)} s, ${recording.marks} marks, ${recording.missing} ticks missing`
    : "Nothing is being recorded.");
}

// Drawing: at the screen's own pace, but no more often than there is anything new to see.

let valuesMs = 0;
function draw(nowMs) {
  requestAnimationFrame(draw);
  if (!traces || !page.state || !traces.draw()) return;
  const now = traces.latest;
  const poses = page.welcome.legs.map((leg) => [now[`${leg}_thigh_deg`], now[`${leg}_shank_deg`], now[`${leg}_fold_deg`]]);
  page.ups = legs.draw(poses, page.state.legs);
  if (nowMs - valuesMs < VALUES_MS) return;
  valuesMs = nowMs;
  figures.tell(page.state.legs, now, page.ups);
  tellLoop(byId("loop"), page.state, now, page.welcome.board);
  traces.tellValues();
}
requestAnimationFrame(draw);
// By the clock: where nothing comes any more, nothing else would tell.
setInterval(tellBanner, OLD_MS);
// For whoever measures how smoothly this page runs.
window.bench = { frames: () => traces?.frames ?? 0, page };
