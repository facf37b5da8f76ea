// Both legs from the side, drawn to scale in mm from the rig file's own lengths.

const HALF_MM = 35;
const BESIDE_MM = 640;
const COIL_TURNS = 16;

function made(parent, tag, attributes) {
  const element = document.createElementNS(parent.namespaceURI, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  parent.append(element);
  return element;
}

const points = (list) => list.map(([x, y]) => `${x.toFixed(1)},${y.toFixed(1)}`).join(" ");

// Thigh and shank lean with the foot straight below the hip, for want of anything better.
function leansUnderHip(shape, fold) {
  const thigh = Math.atan2(
    shape.shank_m * Math.sin(fold),
    shape.thigh_m + shape.shank_m * Math.cos(fold),
  );
  return [thigh, fold - thigh];
}

class Leg {
  constructor(svg, shape, name, colour) {
    this.shape = shape;
    const group = made(svg, "g", { stroke: colour, fill: "none", "stroke-linecap": "round" });
    const line = (width, extra = {}) => made(group, "polyline", { "stroke-width": width, ...extra });
    this.outside = made(group, "path", { stroke: "none", fill: "currentColor", opacity: 0.13 });
    this.arc = made(group, "path", { stroke: "currentColor", "stroke-width": 3 });
    this.soft = line(6, { stroke: "currentColor", "stroke-dasharray": "14 9" });
    this.hard = [line(9, { stroke: "currentColor" }), line(9, { stroke: "currentColor" })];
    this.rope = line(4, { stroke: "currentColor" });
    this.coil = line(5);
    this.links = [line(8), line(8)];
    this.plates = [line(20), line(20), line(20)];
    this.name = made(svg, "text", { "text-anchor": "middle", fill: "currentColor" });
    this.name.textContent = name;
    this.foot = made(svg, "text", { "text-anchor": "middle" });
  }

  height(thigh, shank) {
    return 1000 * (this.shape.thigh_m * Math.cos(thigh) + this.shape.shank_m * Math.cos(shank));
  }

  draw(x, ground, hip, thigh, shank, easy, clearance) {
    const { shape } = this;
    const up = [Math.sin(thigh), -Math.cos(thigh)];
    const down = [Math.sin(shank), Math.cos(shank)];
    const at = (from, way, mm) => [from[0] + way[0] * mm, from[1] + way[1] * mm];
    const top = [x, ground - hip];
    const knee = at(top, up, -1000 * shape.thigh_m);
    const foot = at(knee, down, 1000 * shape.shank_m);
    for (const [i, side] of [-HALF_MM, HALF_MM].entries()) {
      const beside = ([px, py]) => [px + side, py];
      this.links[i].setAttribute("points", points([beside(top), beside(knee), beside(foot)]));
    }
    const plate = (middle, behind, ahead) =>
      points([[middle[0] - behind, middle[1]], [middle[0] + ahead, middle[1]]]);
    this.plates[0].setAttribute("points", plate(top, 88, 88));
    this.plates[1].setAttribute("points", plate(knee, 46, 46));
    this.plates[2].setAttribute("points", plate(foot, 70, 122));
    const ends = ([a, b]) => [at(knee, up, 1000 * a), at(knee, down, 1000 * b)];
    this.rope.setAttribute("points", points(ends(shape.rope_m)));
    this.rope.setAttribute("stroke-dasharray", easy ? "2 11" : "none");
    this.drawCoil(...ends(shape.spring_m));
    this.drawStops(knee, thigh, at);
    this.name.setAttribute("x", x);
    this.name.setAttribute("y", top[1] - 28);
    this.foot.setAttribute("x", foot[0] + 26);
    this.foot.setAttribute("y", ground + 66);
    this.foot.textContent = `${clearance.toFixed(0)} mm up`;
  }

  drawCoil(start, end) {
    const axis = [end[0] - start[0], end[1] - start[1]];
    const length = Math.hypot(...axis) || 1;
    const across = [(-axis[1] / length) * 18, (axis[0] / length) * 18];
    const turns = [start];
    for (let i = 0; i < COIL_TURNS; i++) {
      const p = 0.1 + (0.8 * i) / (COIL_TURNS - 1);
      const side = i % 2 ? 1 : -1;
      turns.push([start[0] + p * axis[0] + side * across[0], start[1] + p * axis[1] + side * across[1]]);
    }
    this.coil.setAttribute("points", points([...turns, end]));
  }

  // Where the shank may be, the thigh being where it is.
  drawStops(knee, thigh, at) {
    const { shape } = this;
    const inner = 300 * shape.shank_m;
    const outer = 620 * shape.shank_m;
    const way = (fold) => [Math.sin(fold - thigh), Math.cos(fold - thigh)];
    const tick = (fold, from, to) =>
      points([at(knee, way(fold), from), at(knee, way(fold), to)]);
    this.soft.setAttribute("points", tick(shape.soft_rad, inner, outer));
    this.hard[0].setAttribute("points", tick(shape.extended_rad, inner, outer));
    this.hard[1].setAttribute("points", tick(shape.hard_rad, inner, outer));
    const [a, b] = [at(knee, way(shape.extended_rad), outer), at(knee, way(shape.hard_rad), outer)];
    const r = outer.toFixed(1);
    const arc = `M${points([a])} A${r},${r} 0 0 0 ${points([b])}`;
    this.arc.setAttribute("d", arc);
    const s = at(knee, way(shape.soft_rad), outer);
    this.outside.setAttribute(
      "d", `M${points([knee])} L${points([s])} A${r},${r} 0 0 0 ${points([b])} Z`,
    );
  }
}

export class Legs {
  constructor(svg, shape, names) {
    svg.replaceChildren();
    this.shape = shape;
    this.svg = svg;
    const [thigh, shank] = leansUnderHip(shape, shape.extended_rad);
    this.stood = 1000 * (shape.thigh_m * Math.cos(thigh) + shape.shank_m * Math.cos(shank));
    this.ground = this.stood + 90;
    // As far back as a knee goes, with its plate.
    const behind = Math.ceil(1000 * shape.thigh_m * Math.sin(shape.hard_rad / 2)) + 70;
    const width = BESIDE_MM + behind + 240;
    svg.setAttribute("viewBox", `${-behind} 0 ${width} ${(this.ground + 80).toFixed(0)}`);
    this.floor = made(svg, "line", {
      x1: 20 - behind, x2: width - behind - 20, y1: this.ground + 10, y2: this.ground + 10,
      stroke: "currentColor", "stroke-width": 5,
    });
    this.legs = names.map((name, i) => new Leg(svg, shape, `${name} leg`, i ? "var(--red)" : "var(--blue)"));
  }

  // Poses are [thigh, shank, fold] in degrees; returns how high each foot is, in mm. A state knows
  // whether a sole bears, and may know how high its foot is and whether its rope is loose.
  draw(poses, states) {
    const leans = poses.map(([thigh, shank, fold]) =>
      Number.isFinite(thigh)
        ? [(thigh * Math.PI) / 180, (shank * Math.PI) / 180]
        : leansUnderHip(this.shape, (fold * Math.PI) / 180),
    );
    const heights = leans.map(([a, b], i) => this.legs[i].height(a, b));
    // A foot that bears is on the ground; over a raised one the hip is kept where it stands.
    const ups = heights.map((height, i) =>
      states[i].up_mm ?? (states[i].sole ? 0 : Math.max(0, this.stood - height)));
    const bears = states.some((state) => state.sole);
    this.floor.setAttribute("stroke-dasharray", bears ? "none" : "22 16");
    leans.forEach(([a, b], i) => {
      const easy = states[i].easy ?? ["off", "standing"].includes(states[i].phase);
      this.legs[i].draw(i * BESIDE_MM, this.ground, heights[i] + ups[i], a, b, easy, ups[i]);
    });
    return ups;
  }
}
