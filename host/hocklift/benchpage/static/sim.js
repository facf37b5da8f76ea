// Hands, wearer and troubles at the simulated rig; on a real board none of this is shown.

import { byId, element, stickWords, write } from "./panels.js";

const HANDS = [
  ["arm", {}, "Arm input closed", (people) => people.armed],
  ["foot", { leg: 0 }, "Raise left foot", (people) => people.raised[0]],
  ["foot", { leg: 1 }, "Raise right foot", (people) => people.raised[1]],
  ["walk", {}, "Walk", (people) => people.walks],
  ["stand", {}, "On its stand", (people) => people.stand],
  ["emergency", {}, "Emergency stop pressed", (people) => people.stopped],
];

export class Sim {
  constructor(ask, welcome) {
    this.ask = ask;
    byId("sim").hidden = false;
    const box = byId("sim-hands");
    box.replaceChildren();
    this.buttons = HANDS.map(([word, fields, text, is]) => {
      const button = element("button", text, { type: "button", "aria-pressed": "false" });
      button.addEventListener("click", () => ask(word, { ...fields, on: !is(this.people) }));
      box.append(button);
      return [button, is];
    });
    const power = element("button", "Power off and on", { type: "button" });
    power.addEventListener("click", () => ask("power"));
    box.append(power);
    this.fill(welcome);
    this.listen();
  }

  fill(welcome) {
    this.troubles = welcome.troubles;
    const options = (id, names) =>
      byId(id).replaceChildren(...names.map((name, i) => element("option", name, { value: id === "trouble-leg" ? i : name })));
    options("trouble-name", welcome.troubles.map(({ name }) => name));
    options("trouble-leg", welcome.legs);
    options("trouble-joint", welcome.joints);
    for (const id of ["trouble-name", "trouble-leg", "trouble-joint"]) byId(id).selectedIndex = 0;
    this.chosen();
  }

  listen() {
    const { ask } = this;
    this.listenToStick();
    byId("lean").oninput = (event) => ask("lean", { side: Number(event.target.value) });
    byId("weigh").onsubmit = (event) => {
      event.preventDefault();
      ask("weigh", { carried_kg: Number(byId("carried").value), wearer_kg: Number(byId("wearer").value) });
    };
    byId("trouble-name").onchange = () => this.chosen();
    byId("trouble").onsubmit = (event) => {
      event.preventDefault();
      ask("trouble", {
        name: byId("trouble-name").value,
        leg: Number(byId("trouble-leg").value),
        joint: byId("trouble-joint").value,
      });
    };
    byId("heal").onclick = () => ask("heal");
  }

  // It springs back from whatever held it: a pointer, a key, or the focus.
  listenToStick() {
    const stick = byId("stick");
    const push = (up) => {
      stick.value = up;
      this.held = up !== 0;
      this.ask("stick", { place: -Number(up) });
    };
    const letGo = () => { if (this.held) push(0); };
    stick.addEventListener("input", () => push(Number(stick.value)));
    stick.addEventListener("keydown", (event) => {
      const up = { ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1 }[event.key];
      if (!up) return;
      event.preventDefault();
      if (!event.repeat) push(up);
    });
    for (const kind of ["keyup", "blur", "pointercancel"]) stick.addEventListener(kind, letGo);
    window.addEventListener("pointerup", letGo);
    window.addEventListener("blur", letGo);
    document.addEventListener("visibilitychange", letGo);
  }

  chosen() {
    const row = this.troubles.find(({ name }) => name === byId("trouble-name").value);
    byId("trouble-leg-label").hidden = !row.leg;
    byId("trouble-joint-label").hidden = !row.joint;
    write(byId("trouble-text"), `${row.name}: ${row.text}.`);
  }

  tell(people, allowed) {
    this.people = people;
    for (const [button, is] of this.buttons) {
      const pressed = String(Boolean(is(people)));
      if (button.getAttribute("aria-pressed") !== pressed) button.setAttribute("aria-pressed", pressed);
    }
    for (const control of byId("sim").querySelectorAll("button, input, select")) {
      if (control.disabled === allowed) control.disabled = !allowed;
    }
    const side = people.lean === 0 ? "both" : people.lean < 0 ? "the left leg" : "the right leg";
    write(byId("lean-words"), side);
    const set = (id, value) => { if (document.activeElement !== byId(id)) byId(id).value = value; };
    set("lean", people.lean);
    if (!this.held) byId("stick").value = -people.stick;
    const words = stickWords(people.stick);
    write(byId("stick-words"), words);
    byId("stick").setAttribute("aria-valuetext", words);
    set("carried", people.carried_kg);
    set("wearer", people.wearer_kg);
    write(byId("struck"), people.struck.length ? `Wrong now: ${people.struck.join(", ")}.` : "Nothing is wrong with the rig.");
  }
}
