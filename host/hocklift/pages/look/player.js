// Legs or wings as they moved, by a slider; a line in every trace goes along. Placed behind legs.js
// and wings.js.

// Under "less motion" it is a still every so often, not a film.
const STILL_MS = 500;

// Columns come as differences from one pose to the next, which makes them short.
function summed(differences) {
  let sum = 0;
  return Float32Array.from(differences, (step) => (sum += step));
}

// What moves: how it is drawn, and how one joint's columns are told.
const KINDS = {
  legs: {
    all: "Both legs from the side",
    scene: Legs,
    pose: ({ thigh_ddeg, shank_ddeg }) => [thigh_ddeg / 10, shank_ddeg / 10, (thigh_ddeg + shank_ddeg) / 10],
    words: (leg) => [leg.phase, `${((leg.thigh_ddeg + leg.shank_ddeg) / 10).toFixed(0)}°`, `${leg.up_mm.toFixed(0)} mm`],
    said: (name, [phase, fold, up]) => `${name} leg ${phase}, fold ${fold}, ${up} up`,
  },
  wings: {
    all: "Both wings from behind",
    scene: Wings,
    pose: ({ lift_ddeg }) => lift_ddeg / 10,
    words: (wing) => [wing.phase, `${(wing.lift_ddeg / 10).toFixed(0)}°`, `${(wing.load_g / 1000).toFixed(1)} kg`],
    said: (name, [phase, angle, load]) => `${name} wing ${phase}, ${angle} from hanging, ${load} at its tip`,
  },
};
// Between two poses these do not change little by little.
const WHOLE = ["phase", "sole", "easy", "here"];

class Cursor {
  constructor(box, svg, [left, top, right, bottom, start_s, end_s]) {
    Object.assign(this, { box, left, right, start_s, end_s });
    this.width = svg.viewBox.baseVal.width;
    this.line = made(svg, "line", { class: "cursor", y1: top, y2: bottom });
  }

  go(time_s) {
    const share = (time_s - this.start_s) / (this.end_s - this.start_s);
    const x = this.left + share * (this.right - this.left);
    this.line.setAttribute("visibility", share >= 0 && share <= 1 ? "visible" : "hidden");
    this.line.setAttribute("x1", x.toFixed(2));
    this.line.setAttribute("x2", x.toFixed(2));
    this.at = x / this.width;
  }

  // On a phone a picture is wider than the screen.
  keepInSight() {
    const { box } = this;
    const x = this.at * box.scrollWidth - box.scrollLeft;
    if (x < 0 || x > box.clientWidth) box.scrollLeft += x - box.clientWidth / 2;
  }

  time(x) {
    return this.start_s + ((x - this.left) / (this.right - this.left)) * (this.end_s - this.start_s);
  }
}

class Player {
  constructor(section, pictures) {
    this.data = JSON.parse(section.querySelector("script").textContent);
    this.kind = KINDS[this.data.kind];
    this.columns = this.data.joints.map((joint) =>
      Object.fromEntries(Object.entries(joint).map(([name, column]) => [name, summed(column)])),
    );
    this.last = this.columns[0].phase.length - 1;
    this.svg = section.querySelector("svg");
    this.scene = new this.kind.scene(this.svg, this.data.shape, this.data.names);
    this.slider = section.querySelector("input");
    this.button = section.querySelector("button");
    this.time = section.querySelector(".time");
    this.rows = [...section.querySelectorAll("tbody td")];
    this.calm = matchMedia("(prefers-reduced-motion: reduce)");
    this.slider.max = this.last;
    this.cursors = pictures.flatMap((box) => this.follow(box));
    this.slider.addEventListener("input", () => { this.pause(); this.move(Number(this.slider.value)); });
    this.button.addEventListener("click", () => (this.began ? this.pause() : this.play()));
    section.hidden = false;
    section.parentElement.querySelector(".unmoved").remove();
    this.go(Math.round((this.data.shown_s - this.data.start_s) / this.data.step_s));
  }

  // The traces of one picture; a click goes to its moment.
  follow(box) {
    const svg = box.querySelector("svg");
    const cursors = JSON.parse(box.dataset.tracks).map((track) => new Cursor(box, svg, track));
    svg.classList.add("follows");
    svg.addEventListener("click", (event) => {
      const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const found = cursors.find((one) => at.x >= one.left && at.x <= one.right) ?? cursors[0];
      this.pause();
      this.go((found.time(at.x) - this.data.start_s) / this.data.step_s);
    });
    return cursors;
  }

  play() {
    if (this.at >= this.last) this.go(0);
    this.began = { at: this.at, ms: performance.now() };
    this.shownMs = 0;
    this.button.textContent = "Pause";
    requestAnimationFrame((ms) => this.frame(ms));
  }

  pause() {
    this.began = null;
    this.button.textContent = "Play";
  }

  frame(ms) {
    if (!this.began) return;
    requestAnimationFrame((next) => this.frame(next));
    if (this.calm.matches && ms - this.shownMs < STILL_MS) return;
    this.shownMs = ms;
    this.move(this.began.at + Math.max(0, ms - this.began.ms) / 1000 / this.data.step_s);
    if (this.at >= this.last) this.pause();
  }

  // To a pose by its number, which may lie between two.
  go(at) {
    this.at = Math.min(Math.max(at, 0), this.last);
    const before = Math.floor(this.at);
    const part = this.at - before;
    const after = Math.min(before + 1, this.last);
    const now = this.columns.map((joint) => {
      const between = ([name, column]) => [
        name, WHOLE.includes(name) ? column[before] : column[before] + part * (column[after] - column[before]),
      ];
      const found = Object.fromEntries(Object.entries(joint).map(between));
      return { ...found, phase: this.data.phases[found.phase] };
    });
    this.scene.draw(now.map(this.kind.pose), now);
    this.tell(now);
  }

  tell(now) {
    const time_s = this.data.start_s + this.at * this.data.step_s;
    const words = now.map((joint) => (joint.here ? this.kind.words(joint) : ["not recorded", "–", "–"]));
    this.time.textContent = `${time_s.toFixed(2)} s`;
    words.forEach((joint, i) => joint.forEach((word, k) => {
      const cell = this.rows[i * joint.length + k];
      if (cell.textContent !== word) cell.textContent = word;
    }));
    const joints = this.data.names.map((name, i) => this.kind.said(name, words[i]));
    const all = `${time_s.toFixed(2)} s; ${joints.join("; ")}`;
    this.slider.value = Math.round(this.at);
    this.slider.setAttribute("aria-valuetext", all);
    this.svg.setAttribute("aria-label", `${this.kind.all} at ${all}`);
    for (const cursor of this.cursors) cursor.go(time_s);
  }

  move(at) {
    this.go(at);
    for (const cursor of this.cursors) cursor.keepInSight();
  }
}

for (const section of document.querySelectorAll(".player")) {
  new Player(section, [...section.parentElement.querySelectorAll("[data-tracks]")]);
}
