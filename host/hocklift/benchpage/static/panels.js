// What is told in words: figures, faults, arming, what happened, gains and limits.

export const byId = (id) => document.getElementById(id);

export function element(tag, text = "", attributes = {}) {
  const made = document.createElement(tag);
  made.textContent = text;
  for (const [name, value] of Object.entries(attributes)) made.setAttribute(name, value);
  return made;
}

// Written anew only where it differs, so that a screen reader is left in peace.
export function write(target, text) {
  if (target.textContent !== text) target.textContent = text;
}

const fixed = (value, digits = 1) => (Number.isFinite(value) ? value.toFixed(digits) : "–");

export function stickWords(place) {
  if (!place) return "let go";
  return `${Math.abs(100 * place).toFixed(0)} % to ${place > 0 ? "stoop" : "rise"}`;
}

const FIGURES = [
  ["phase", (leg, state) => state.phase],
  ["fold", (leg, state, now) => `${fixed(now[`${leg}_fold_deg`])}°`],
  ["foot up", (leg, state, now, up) => `${fixed(up, 0)} mm`],
  ["drive", (leg, state, now) => `${fixed(now[`${leg}_drive_percent`], 0)} %`],
  ["current", (leg, state, now) => `${fixed(now[`${leg}_current_A`])} A`],
  ["winding over air", (leg, state, now) => `${fixed(now[`${leg}_winding_K`])} K`],
  ["foot switch", (leg, state) => (state.switch ? "pressed" : "open")],
  ["sole", (leg, state) => (state.sole ? "bears" : "free")],
];

export class Figures {
  constructor(table, legs) {
    this.legs = legs;
    this.cells = FIGURES.map(([what]) => {
      const row = table.tBodies[0].insertRow();
      row.append(element("th", what, { scope: "row" }));
      return legs.map(() => row.insertCell());
    });
  }

  tell(states, now, ups) {
    FIGURES.forEach(([, figure], i) => {
      this.legs.forEach((leg, k) => write(this.cells[i][k], figure(leg, states[k], now, ups[k])));
    });
  }
}

export function tellFaults(box, faults) {
  const key = JSON.stringify(faults);
  if (box.dataset.key === key) return;
  box.dataset.key = key;
  box.replaceChildren();
  if (!faults.length) box.append(element("p", "None holds now."));
  for (const fault of faults) {
    const card = element("div", "", { class: "fault" });
    card.append(element("b", `${fault.name}, ${fault.whose}`));
    card.append(element("p", fault.text));
    card.append(element("p", fault.remedy, { class: "remedy" }));
    card.append(element("p", `What the board does: ${fault.action}; it holds ${fault.latch}.`, { class: "fine" }));
    box.append(card);
  }
}

export function tellArming(list, conditions, armed) {
  const key = JSON.stringify([conditions, armed]);
  if (list.dataset.key === key) return;
  list.dataset.key = key;
  list.replaceChildren();
  if (armed) {
    list.append(element("li", "It is armed. Open the arm input to let both feet down and cut the power."));
    return;
  }
  for (const { said, holds, remedy } of conditions) {
    const item = element("li", said, holds ? {} : { class: "not" });
    if (!holds) item.append(element("span", `Not so: ${remedy}`));
    list.append(item);
  }
  if (conditions.every(({ holds }) => holds)) {
    list.append(element("li", "All of it holds: close the arm input and hold it to arm.", { class: "next" }));
  }
}

const EVENTS_MOST = 200;

export function tellEvent(list, event) {
  const item = element("li", "", { class: event.kind });
  const at = new Date(event.at_ms);
  item.append(element("time", at.toTimeString().slice(0, 8), { datetime: at.toISOString() }));
  item.append(event.kind === "mark" ? `Mark: ${event.words}` : event.words);
  if (event.remedy) item.append(element("small", event.remedy));
  list.prepend(item);
  while (list.children.length > EVENTS_MOST) list.lastChild.remove();
}

export function tellLoop(table, state, now, board) {
  const rows = [
    ["board", `${board.board}, firmware ${board.firmware}, MicroPython ${board.micropython}`],
    ["stick", state.stick === null ? "–" : stickWords(state.stick)],
    ["battery", `${fixed(now.battery_V, 2)} V`],
    ["the board's own supply", `${fixed(now.supply_V, 2)} V`],
    [
      "loop",
      `${fixed(state.loop.median_ms, 2)} ms, at most ${fixed(state.loop.most_ms, 2)}` +
        ` of ${board.period_us / 1000} ms in the last second`,
    ],
    ["periods missed", String(state.loop.missed)],
    ["frames lost, damaged", `${state.loop.lost}, ${state.loop.damaged}`],
    ["rate, current, winding", state.synced ? "the board's own numbers, to the bit" : "not known just now"],
  ];
  const body = table.tBodies[0];
  rows.forEach(([what, figure], i) => {
    const row = body.rows[i] ?? body.insertRow();
    if (!row.cells.length) {
      row.append(element("th", what, { scope: "row" }));
      row.insertCell();
    }
    write(row.cells[1], figure);
  });
}

export class Knobs {
  constructor(box, ask) {
    this.box = box;
    this.ask = ask;
    this.fields = new Map();
  }

  tell(message) {
    if (this.fields.size !== message.rows.length) this.build(message.rows);
    for (const row of message.rows) {
      const { form, input, range } = this.fields.get(row.path);
      form.classList.toggle("changed", row.changed);
      if (document.activeElement !== input || !input.dataset.typed) {
        input.value = row.value;
        delete input.dataset.typed;
      }
      const most = row.staged ? `${row.high} ${row.unit} at this stage` : `${row.high} ${row.unit}`;
      write(range, `${row.meaning}; ${row.low} to ${most}`);
    }
  }

  build(rows) {
    this.box.replaceChildren();
    this.fields.clear();
    let set;
    let group;
    for (const row of rows) {
      if (row.group !== group) {
        group = row.group;
        set = element("fieldset");
        set.append(element("legend", group));
        this.box.append(set);
      }
      const id = `knob-${row.path.replace(".", "-")}`;
      const form = element("form");
      const input = element("input", "", { id, inputmode: "decimal", autocomplete: "off", "aria-describedby": `${id}-range` });
      const value = element("span", "", { class: "value" });
      value.append(input, ` ${row.unit} `, element("button", "Set", { type: "submit", "aria-label": `Set ${row.name}` }));
      const range = element("p", "", { class: "fine", id: `${id}-range` });
      form.append(element("label", row.name, { for: id }), value, range);
      input.addEventListener("input", () => { input.dataset.typed = "1"; });
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        delete input.dataset.typed;
        this.ask("change", { path: row.path, value: input.value });
      });
      set.append(form);
      this.fields.set(row.path, { form, input, range });
    }
  }

  allow(allowed) {
    for (const { form } of this.fields.values()) {
      for (const control of form.elements) if (control.disabled === allowed) control.disabled = !allowed;
    }
  }
}
