// Both wings from behind, drawn to scale from the rig file's own lengths. Placed behind legs.js.

// The whole picture is so wide, whatever a wing measures, so that lines and words stay readable.
const WIDTH = 1280;
const FEATHERS = [0.32, 0.48, 0.64, 0.8, 0.96];

// How far each hinge is from the middle: so far that tucked wings do not cross.
function hingeOut(shape) {
  return shape.tip_m * Math.max(0, -Math.sin(shape.hard_lowered_rad)) + shape.quadrant_m + 0.05;
}

class OneWing {
  constructor(svg, shape, name, colour, side, scale) {
    Object.assign(this, { shape, side, scale });
    this.hinge = [side * scale * hingeOut(shape), 0];
    const group = made(svg, "g", { stroke: colour, fill: "none", "stroke-linecap": "round" });
    const line = (width, extra = {}) => made(group, "polyline", { "stroke-width": width, ...extra });
    this.drawEnds(line);
    made(group, "circle", {
      cx: this.hinge[0], cy: 0, r: (scale * shape.quadrant_m).toFixed(1), "stroke-width": 4,
    });
    const ink = { stroke: "currentColor" };
    this.ropes = [line(4, ink), line(4, ink)];
    this.hanger = line(3, ink);
    this.load = made(group, "circle", { fill: "currentColor", stroke: "none" });
    this.feathers = FEATHERS.map(() => line(4));
    this.spar = line(14);
    const words = made(svg, "text", { "text-anchor": "middle", fill: "currentColor" });
    words.setAttribute("x", this.hinge[0]);
    words.setAttribute("y", -scale * shape.tackle_m - 30);
    words.textContent = `${name} wing`;
  }

  // A share of the way out along the wing, at an angle from hanging.
  at(angle, share) {
    const r = this.scale * this.shape.tip_m * share;
    return [this.hinge[0] + this.side * r * Math.sin(angle), r * Math.cos(angle)];
  }

  drawEnds(line) {
    const { shape } = this;
    const ink = { stroke: "currentColor" };
    const tick = (angle, from, extra) =>
      line(extra ? 5 : 8, { ...ink, ...extra, points: points([this.at(angle, from), this.at(angle, 0.44)]) });
    for (const angle of [shape.lowered_rad, shape.raised_rad]) tick(angle, 0.33, { "stroke-dasharray": "12 8" });
    for (const angle of [shape.hard_lowered_rad, shape.hard_raised_rad]) tick(angle, 0.38);
    const [low, high] = [shape.hard_lowered_rad, shape.hard_raised_rad];
    const arc = Array.from({ length: 33 }, (_, i) => this.at(low + ((high - low) * i) / 32, 0.44));
    line(2.5, { ...ink, points: points(arc) });
  }

  draw(angle, loadKg, easy) {
    const tip = this.at(angle, 1);
    this.spar.setAttribute("points", points([this.hinge, tip]));
    // Square to the spar, on the side that is below when the wing is up, longer towards the tip.
    this.feathers.forEach((feather, i) => {
      const [x, y] = this.at(angle, FEATHERS[i]);
      const long = this.scale * this.shape.tip_m * (0.05 + 0.13 * FEATHERS[i]);
      const end = [x - this.side * long * Math.cos(angle), y + long * Math.sin(angle)];
      feather.setAttribute("points", points([[x, y], end]));
    });
    // Each tackle leaves the quadrant on its outer side: one up, one down.
    const out = this.hinge[0] + this.side * this.scale * this.shape.quadrant_m;
    const long = this.scale * this.shape.tackle_m;
    this.ropes.forEach((rope, i) => rope.setAttribute("points", points([[out, 0], [out, i ? long : -long]])));
    this.ropes[1].setAttribute("stroke-dasharray", easy ? "2 10" : "none");
    const r = loadKg > 0 ? 10 + 10 * Math.sqrt(loadKg) : 0;
    const low = [tip[0], tip[1] + (r ? 24 : 0)];
    this.hanger.setAttribute("points", points([tip, low]));
    this.load.setAttribute("cx", low[0].toFixed(1));
    this.load.setAttribute("cy", (low[1] + r).toFixed(1));
    this.load.setAttribute("r", r.toFixed(1));
  }
}

class Wings {
  constructor(svg, shape, names) {
    svg.replaceChildren();
    const scale = (WIDTH / 2 - 50) / (hingeOut(shape) + shape.tip_m);
    const reach = scale * shape.tip_m;
    const above = Math.max(scale * shape.tackle_m, -reach * Math.cos(shape.hard_raised_rad)) + 90;
    svg.setAttribute(
      "viewBox", `${-WIDTH / 2} ${(-above).toFixed(0)} ${WIDTH} ${(above + reach + 70).toFixed(0)}`,
    );
    const out = scale * hingeOut(shape);
    made(svg, "line", { x1: -out, x2: out, y1: 0, y2: 0, stroke: "currentColor", "stroke-width": 12 });
    this.wings = names.map((name, i) =>
      new OneWing(svg, shape, name, i ? "var(--red)" : "var(--blue)", i ? 1 : -1, scale));
  }

  // Poses are angles from hanging, in degrees, up is positive.
  draw(poses, states) {
    poses.forEach((angle, i) =>
      this.wings[i].draw((angle * Math.PI) / 180, states[i].load_g / 1000, states[i].easy > 0));
  }
}
