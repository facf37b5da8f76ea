// Traces of the last seconds: every tick that came, drawn by uPlot, which lies beside this file.

/* global uPlot */
const WINDOW_S = 20;
const KEEP = 5600;
const DROP = 600;
const CHART_PX = 84;
const LAST_PX = 108;
// Of each phase that moves a leg; the reports have the same ones. Those at rest go with the page.
const PHASE_SHADES = {
  lifting: "#009e73", "held up": "#f0e442", lowering: "#56b4e9", releasing: "#cc79a7",
  stooping: "#e69f00",
};
const ON_SHADE = "#1d2328";

const ink = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

export class Traces {
  constructor(box, canvas, welcome) {
    this.box = box;
    this.canvas = canvas;
    this.traces = welcome.traces;
    this.columns = welcome.columns;
    this.data = this.columns.map(() => []);
    this.time = [];
    this.latest = {};
    // What is told by upright lines: [time, kind]; and each leg's phases: [time, name].
    this.lines = [];
    this.spells = Object.fromEntries(welcome.legs.map((leg) => [leg, []]));
    this.legs = welcome.legs;
    this.dirty = false;
    this.frames = 0;
    this.build();
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.build());
    new ResizeObserver(() => this.resize()).observe(box);
  }

  column(name) {
    return this.columns.indexOf(name);
  }

  take(buffer) {
    const start = new DataView(buffer).getFloat64(0, true);
    const rows = new Float32Array(buffer.slice(8));
    const width = this.columns.length;
    for (let at = 0; at < rows.length; at += width) {
      this.time.push(start + rows[at]);
      for (let i = 1; i < width; i++) {
        const value = rows[at + i];
        this.data[i].push(Number.isNaN(value) ? null : value);
      }
    }
    if (this.time.length > KEEP) {
      this.time.splice(0, DROP);
      for (let i = 1; i < width; i++) this.data[i].splice(0, DROP);
    }
    for (let i = 1; i < width; i++) this.latest[this.columns[i]] = rows[rows.length - width + i];
    this.now = this.time[this.time.length - 1];
    this.dirty = true;
  }

  happened(event) {
    if (event.kind === "fault" || event.kind === "mark") this.lines.push([event.time_s, event.kind]);
    if (event.kind === "phase") this.spells[event.leg].push([event.time_s, event.words.split(": ")[1]]);
    const gone = (this.now ?? 0) - WINDOW_S;
    this.lines = this.lines.filter(([time]) => time > gone);
    for (const leg of this.legs) {
      const list = this.spells[leg];
      while (list.length > 1 && list[1][0] < gone) list.shift();
    }
  }

  // A page that comes late has not been told when its legs came to where they are.
  standing(states) {
    this.legs.forEach((leg, i) => {
      const list = this.spells[leg];
      if (!list.length) list.push([-Infinity, states[i].phase]);
    });
  }

  build() {
    this.charts?.forEach((chart) => chart.plot.destroy());
    this.box.replaceChildren();
    this.ink = { text: ink("--ink"), grid: ink("--line"), soft: ink("--line"), left: ink("--blue"), right: ink("--red") };
    this.charts = this.traces.map((trace, i) => this.chart(trace, i === this.traces.length - 1));
    this.dirty = true;
  }

  chart(trace, last) {
    const heading = document.createElement("h3");
    const title = document.createElement("span");
    title.textContent = `${trace.title}, ${trace.unit}`;
    const values = document.createElement("span");
    heading.append(title, values);
    const holder = document.createElement("div");
    holder.setAttribute("role", "img");
    holder.setAttribute("aria-label", `${trace.title}, ${trace.unit}, over the last seconds`);
    this.box.append(heading, holder);
    const rows = [];
    for (const leg of this.legs) {
      trace.of_leg.forEach((name, k) => rows.push({ name: `${leg}_${name}`, leg, second: k > 0 }));
    }
    trace.of_board.forEach((name) => rows.push({ name, leg: "", second: false }));
    const series = rows.map((row) => ({
      stroke: row.leg ? this.ink[row.leg] : this.ink.text,
      // Broad where it is smooth: a broad line through noise takes long to paint.
      width: row.second || trace.noisy ? 1 : 1.6,
      dash: row.second ? [2, 3] : row.leg === "right" ? [7, 4] : undefined,
      points: { show: false },
    }));
    const axis = (more) => ({
      stroke: this.ink.text,
      font: "12px Georgia, serif",
      grid: { stroke: this.ink.grid, width: 1 },
      ticks: { show: false },
      ...more,
    });
    const plot = new uPlot(
      {
        width: Math.max(200, this.box.clientWidth),
        height: last ? LAST_PX : CHART_PX,
        pxAlign: 0,
        legend: { show: false },
        cursor: { show: false },
        padding: [10, 8, 0, 0],
        scales: {
          x: { time: false, range: () => [(this.now ?? WINDOW_S) - WINDOW_S, this.now ?? WINDOW_S] },
          y: { range: (_, low, high) => spanned(low, high, trace.span) },
        },
        axes: [
          axis({
            show: true, size: last ? 26 : 2,
            values: (_, at) => at.map((s) => (last ? `${(s - (this.now ?? 0)).toFixed(0)} s` : "")),
            splits: () => [0, 5, 10, 15, 20].map((back) => (this.now ?? WINDOW_S) - back),
          }),
          axis({ size: 46, space: 17 }),
        ],
        series: [{}, ...series],
        hooks: { draw: [(drawn) => this.drawLines(drawn)] },
      },
      [[], ...rows.map(() => [])],
      holder,
    );
    const use = rows.map((row) => this.column(row.name));
    const shown = rows.filter((row) => !row.second);
    return { plot, use, values, shown, unit: trace.unit };
  }

  drawLines(plot) {
    const { ctx, bbox } = plot;
    ctx.save();
    ctx.strokeStyle = this.ink.text;
    for (const [time, kind] of this.lines) {
      const x = plot.valToPos(time, "x", true);
      if (x < bbox.left) continue;
      ctx.lineWidth = kind === "fault" ? 3 : 1.5;
      ctx.setLineDash(kind === "fault" ? [] : [6, 5]);
      ctx.beginPath();
      ctx.moveTo(x, bbox.top);
      ctx.lineTo(x, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  }

  resize() {
    const width = Math.max(200, this.box.clientWidth);
    for (const { plot } of this.charts) plot.setSize({ width, height: plot.height });
    this.dirty = true;
  }

  draw() {
    if (!this.dirty || !this.time.length) return false;
    this.dirty = false;
    this.frames += 1;
    // Every second chart in turn: painting them is most of what a frame costs.
    this.charts.forEach(({ plot, use }, i) => {
      if (i % 2 === this.frames % 2) plot.setData([this.time, ...use.map((k) => this.data[k])]);
    });
    this.drawPhases();
    return true;
  }

  tellValues() {
    for (const { values, shown, unit } of this.charts) {
      values.textContent = shown
        .map((row) => {
          const value = this.latest[row.name];
          const number = Number.isFinite(value) ? value.toFixed(1) : "–";
          return row.leg ? `${row.leg} ${number}` : number;
        })
        .join("   ") + ` ${unit}`;
    }
  }

  drawPhases() {
    const { canvas } = this;
    const ratio = devicePixelRatio;
    const [width, height] = [canvas.clientWidth, canvas.clientHeight];
    if (canvas.width !== Math.round(width * ratio)) canvas.width = Math.round(width * ratio);
    if (canvas.height !== Math.round(height * ratio)) canvas.height = Math.round(height * ratio);
    const ctx = canvas.getContext("2d");
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.clearRect(0, 0, width, height);
    ctx.font = "12px Georgia, serif";
    ctx.textBaseline = "middle";
    const [left, right] = [46, width - 8];
    const x = (time) => Math.max(left, left + ((time - this.now + WINDOW_S) / WINDOW_S) * (right - left));
    this.legs.forEach((leg, row) => {
      const [top, tall] = [row * 22 + 1, 20];
      ctx.fillStyle = this.ink[leg];
      ctx.fillText(leg, 6, top + tall / 2);
      const list = this.spells[leg];
      list.forEach(([time, name], i) => {
        const [from, to] = [x(time), i + 1 < list.length ? x(list[i + 1][0]) : right];
        if (to <= from) return;
        const shade = PHASE_SHADES[name] ?? (name === "off" ? "transparent" : this.ink.soft);
        ctx.fillStyle = shade;
        ctx.fillRect(from, top, to - from, tall);
        ctx.strokeStyle = this.ink.text;
        ctx.lineWidth = 0.7;
        ctx.strokeRect(from, top, to - from, tall);
        if (ctx.measureText(name).width + 6 < to - from) {
          ctx.fillStyle = PHASE_SHADES[name] ? ON_SHADE : this.ink.text;
          ctx.fillText(name, from + 4, top + tall / 2);
        }
      });
    });
  }
}

// At least so wide, and a little room over what is there.
function spanned(low, high, span) {
  if (low == null || !Number.isFinite(low)) return [0, span];
  const room = Math.max(high - low, span);
  const middle = (low + high) / 2;
  // What cannot be negative begins at its zero.
  if (low >= 0 && middle < 0.55 * room) return [0, 1.1 * room];
  return [middle - 0.55 * room, middle + 0.55 * room];
}
