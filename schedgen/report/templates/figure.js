"use strict";
/* The picture of a dive to look into: a cursor that reads every value, zoom, and the choice of the case. */
class DivePicture {
  constructor(root) {
    this.root = root;
    this.kind = "nominal";
    this.view = null;
    this.at = null;
    this.plots = [];
    this.busy = false;
    this.ink = { camera: "#0b5871", light: "#c98a00", fan: "#5b8f86", beacon: "#7b3f6e", locator: "#4d5aa8",
      release: "#a3301b", stop: "#14303d", other: "#6b7c84" };
    this.strokes = [[], [7, 3], [2, 3], [9, 3, 2, 3]];
    new ResizeObserver(() => this.fit()).observe(root);
  }

  show(data) {
    const same = this.data && this.data.end_s === data.end_s && this.data.dive_end_s === data.dive_end_s;
    this.data = data;
    if (!(this.kind in data.cases)) this.kind = "nominal";
    if (!same || !this.view) this.view = [0, data.dive_end_s];
    if (this.at === null || !same) this.at = data.events.filter(e => e[0] === "bottom").map(e => e[2])[0] || 0;
    this.build();
  }

  build() {
    const kept = document.activeElement && this.root.contains(document.activeElement) ? document.activeElement.dataset.name : null;
    this.plots.forEach(plot => plot.destroy());
    this.plots = [];
    this.root.replaceChildren(this.tools(), this.table());
    for (const pane of this.panes()) this.pane(pane);
    this.root.append(this.key());
    this.move(this.at);
    if (kept) { const back = this.root.querySelector('[data-name="' + kept + '"]'); if (back) back.focus(); }
  }

  make(tag, words, attributes) {
    const element = document.createElement(tag);
    if (words !== undefined && words !== null) element.textContent = words;
    for (const [name, value] of Object.entries(attributes || {})) element.setAttribute(name, value);
    return element;
  }

  tools() {
    const bar = this.make("div", null, { class: "tools", role: "group", "aria-label": "Picture" });
    const select = this.make("select", null, { "data-name": "case", "aria-label": "Case" });
    for (const name of Object.keys(this.data.cases)) {
      const option = this.make("option", "case: " + name, { value: name });
      option.selected = name === this.kind;
      select.append(option);
    }
    select.addEventListener("change", () => { this.kind = select.value; this.build(); });
    bar.append(select);
    const d = this.data, of = name => d.events.find(e => e[0] === name);
    const stretches = [["dive", 0, d.dive_end_s], ["whole time", 0, d.end_s]];
    if (of("bottom")) stretches.push(["descent", 0, Math.max(of("bottom")[3] * 1.3, 600)]);
    if (of("release") && of("surface")) {
      const a = of("release")[1], b = of("surface")[3];
      stretches.push(["release and rise", Math.max(0, a - (b - a) * 0.3), b + (b - a) * 0.3]);
      if (d.end_s > b) stretches.push(["waiting", b, d.end_s]);
    }
    this.buttons = [];
    for (const [words, from, to] of stretches) this.button(bar, words, () => this.zoom(from, to), [from, to]);
    this.button(bar, "closer", () => this.scale(0.5));
    this.button(bar, "wider", () => this.scale(2));
    const label = this.make("label", null, { class: "time" });
    label.append(this.make("span", "time"));
    this.slider = this.make("input", null, { type: "range", "data-name": "time", min: "0", step: "1",
      "aria-label": "Time at which the values are read" });
    this.slider.max = String(Math.ceil(d.end_s));
    this.slider.addEventListener("input", () => this.move(Number(this.slider.value)));
    this.slider.addEventListener("keydown", event => this.keys(event));
    label.append(this.slider);
    bar.append(label);
    return bar;
  }

  button(bar, words, act, view) {
    const button = this.make("button", words, { type: "button", "data-name": "button " + words });
    button.addEventListener("click", act);
    if (view) { button.setAttribute("aria-pressed", "false"); this.buttons.push([button, view]); }
    bar.append(button);
  }

  /* Arrow keys move by a hundredth of what is shown, so that they are useful at any zoom. */
  keys(event) {
    const step = (this.view[1] - this.view[0]) / (event.shiftKey ? 20 : 200);
    const by = { ArrowLeft: -step, ArrowDown: -step, ArrowRight: step, ArrowUp: step }[event.key];
    if (by === undefined) {
      if (event.key === "+" || event.key === "-") { this.scale(event.key === "+" ? 0.5 : 2); event.preventDefault(); }
      return;
    }
    event.preventDefault();
    const at = Math.min(this.data.end_s, Math.max(0, this.at + by));
    if (at < this.view[0] || at > this.view[1]) {
      const width = this.view[1] - this.view[0], from = Math.max(0, Math.min(this.data.end_s - width, at - width / 2));
      this.zoom(from, from + width);
    }
    this.move(at);
  }

  scale(by) {
    const width = Math.min(this.data.end_s, Math.max(60, (this.view[1] - this.view[0]) * by));
    const middle = this.at >= this.view[0] && this.at <= this.view[1] ? this.at : (this.view[0] + this.view[1]) / 2;
    const from = Math.max(0, Math.min(this.data.end_s - width, middle - width / 2));
    this.zoom(from, from + width);
  }

  zoom(from, to) {
    if (!(to > from) || this.busy) return;
    this.busy = true;
    this.view = [from, to];
    for (const plot of this.plots) plot.setScale("x", { min: from, max: to });
    this.busy = false;
    this.press();
    this.move(this.at);
  }

  press() {
    for (const [button, [a, b]] of this.buttons)
      button.setAttribute("aria-pressed", String(Math.abs(a - this.view[0]) < 1 && Math.abs(b - this.view[1]) < 1));
  }

  at_time(times, values, t, held) {
    if (!times.length || t < times[0] || t > times[times.length - 1]) return null;
    let low = 0, high = times.length - 1;
    while (low < high) { const mid = (low + high + 1) >> 1; if (times[mid] <= t) low = mid; else high = mid - 1; }
    const a = values[low];
    if (held || low === times.length - 1 || a === null) return a;
    const b = values[low + 1];
    return b === null ? a : a + (b - a) * (t - times[low]) / (times[low + 1] - times[low]);
  }

  merged(series) {
    const all = new Set();
    series.forEach(s => s[0].forEach(t => all.add(t)));
    const times = [...all].sort((a, b) => a - b);
    return [times, ...series.map(([ts, vs, held]) => times.map(t => this.at_time(ts, vs, t, held)))];
  }

  panes() {
    const d = this.data, c = d.cases[this.kind];
    const list = [{ title: "outputs, height is the level", lanes: true, height: 26 * d.lanes.length + 34 }];
    const pane = (title, key, values, held, extra) => list.push(Object.assign({ title, height: 150, curves: [
      { name: title, times: c.time_s, values, band: d.bands[key], held }], limits: d.limits[key] || [] }, extra));
    pane("depth, m", "depth_m", c.depth_m, false, { down: true });
    pane("pack voltage, V", "voltage_v", c.voltage_v, true, {});
    pane("charge, % of what the pack holds now", "charge_pct", c.charge_pct, false, { span: [0, 100] });
    list.push({ title: "temperature, degC", height: 150, limits: this.near(d.limits.temperature_c),
      curves: Object.entries(c.temperature_c).map(([name, values]) =>
        ({ name, times: c.time_s, values, band: d.bands["temperature_c " + name], held: false })) });
    return list;
  }

  near(limits) {
    const all = Object.values(this.data.cases[this.kind].temperature_c).flat().filter(v => v !== null);
    const low = Math.min(...all), high = Math.max(...all);
    return limits.filter(l => l[1] > low - 25 && l[1] < high + 35);
  }

  pane(pane) {
    const box = this.make("div", null, { class: "pane" });
    box.append(this.make("h4", pane.title));
    this.root.append(box);
    const series = [{}], columns = [], bands = [];
    if (pane.lanes) { columns.push([[0, this.data.end_s], [0, 0], false]); series.push({ show: false }); }
    (pane.curves || []).forEach((curve, index) => {
      const stepped = curve.held ? uPlot.paths.stepped({ align: 1 }) : undefined;
      if (curve.band) {
        bands.push({ series: [series.length, series.length + 1], fill: "rgba(120,180,200,0.5)" });
        for (const side of ["high", "low"]) {
          columns.push([curve.band.time_s, curve.band[side], curve.held]);
          series.push({ stroke: "rgba(120,180,200,0.9)", width: 0.5, points: { show: false }, paths: stepped });
        }
      }
      columns.push([curve.times, curve.values, curve.held]);
      series.push({ stroke: index ? "#14303d" : "#0b5871", width: 1.6, dash: this.strokes[index % 4], points: { show: false },
        paths: stepped });
    });
    const font = '12px "Liberation Sans", "DejaVu Sans", Arial, sans-serif';
    const plot = new uPlot({
      width: this.width(), height: pane.height, legend: { show: false }, series, bands, padding: [6, 8, 0, 0],
      cursor: { sync: { key: "dive", setSeries: false }, drag: { x: true, y: false }, points: { show: false }, y: false },
      scales: { x: { time: false, min: this.view[0], max: this.view[1] },
        y: { dir: pane.down || pane.lanes ? -1 : 1, range: (u, low, high) => this.range(pane, low, high) } },
      axes: [
        { font, stroke: "#14303d", grid: { stroke: "#dde4e7", width: 1 }, ticks: { stroke: "#6b7c84", size: 4 }, size: 26, space: 70,
          splits: (u, axis, low, high) => this.marks(low, high, u.bbox.width / (window.devicePixelRatio || 1)),
          values: (u, marks) => marks.map(mark => this.clock(mark, u.scales.x.max - u.scales.x.min < 4 * 86400)) },
        { font, stroke: "#14303d", grid: { show: !pane.lanes, stroke: "#dde4e7", width: 1 }, ticks: { stroke: "#6b7c84", size: 4 },
          size: this.side(), splits: pane.lanes ? () => this.data.lanes.map((_, k) => k + 0.5) : undefined,
          values: pane.lanes ? () => this.data.lanes.map(lane => this.short(lane.label)) : undefined }],
      hooks: {
        drawAxes: [u => this.events(u)],
        draw: [u => (pane.lanes ? this.lanes(u) : this.limits(u, pane.limits))],
        setCursor: [u => this.follow(u)],
        setScale: [(u, key) => { if (key === "x" && !this.busy) this.zoom(u.scales.x.min, u.scales.x.max); }],
      },
    }, this.merged(columns), box);
    this.plots.push(plot);
  }

  range(pane, low, high) {
    if (pane.lanes) return [0, this.data.lanes.length];
    if (pane.span) return pane.span;
    const values = [low, high, ...(pane.limits || []).map(l => l[1])].filter(v => v !== null && isFinite(v));
    const a = Math.min(...values), b = Math.max(...values), room = (b - a || 1) * 0.08;
    return pane.down ? [Math.min(0, a), b + room] : [a - room, b + room];
  }

  /* Whole hours (or minutes) of the local clock. */
  marks(low, high, width) {
    const steps = [60, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 432000, 864000];
    const most = Math.max(2, Math.floor(width / 58)), step = steps.find(s => (high - low) / s <= most) || 2592000;
    const shift = this.data.start_ms / 1000 + this.data.offset_min * 60, list = [];
    for (let k = Math.ceil((low + shift) / step); k * step - shift <= high; k++) list.push(k * step - shift);
    return list;
  }

  side() { return this.root.clientWidth < 520 ? 64 : 104; }
  short(words) { const most = this.root.clientWidth < 520 ? 8 : 14; return words.length > most ? words.slice(0, most - 1) + "\u2026" : words; }
  width() { return Math.max(240, this.root.clientWidth - 28); }
  fit() { const width = this.width(); for (const plot of this.plots) if (plot.width !== width) plot.setSize({ width, height: plot.height }); }

  events(u) {
    const g = u.ctx, top = u.bbox.top, height = u.bbox.height;
    g.save();
    g.beginPath(); g.rect(u.bbox.left, top, u.bbox.width, height); g.clip();
    for (const [, early, nominal, late] of this.data.events) {
      const a = u.valToPos(early, "x", true), b = u.valToPos(Math.max(late, early + 1), "x", true);
      g.fillStyle = "#eedfb6"; g.fillRect(a, top, Math.max(1, b - a), height);
      const x = u.valToPos(nominal, "x", true);
      g.strokeStyle = "#6b7c84"; g.setLineDash([2, 3]); g.beginPath(); g.moveTo(x, top); g.lineTo(x, top + height); g.stroke();
    }
    g.restore();
  }

  lanes(u) {
    const g = u.ctx, one = u.bbox.height / this.data.lanes.length;
    g.save();
    g.beginPath(); g.rect(u.bbox.left, u.bbox.top, u.bbox.width, u.bbox.height); g.clip();
    this.data.lanes.forEach((lane, k) => {
      g.fillStyle = g.strokeStyle = this.ink[lane.role] || this.ink.other;
      for (const [from, to, level, pattern] of lane.bars) {
        const a = u.valToPos(from, "x", true), b = u.valToPos(to, "x", true);
        if (b < u.bbox.left || a > u.bbox.left + u.bbox.width) continue;
        const high = one * 0.72 * Math.max(level, 12) / 100, y = u.bbox.top + one * (k + 0.86) - high, wide = Math.max(1.5, b - a);
        if (!pattern) { g.fillRect(a, y, wide, high); continue; }
        g.strokeRect(a, y, wide, high);
        for (let x = Math.max(a, u.bbox.left); x < Math.min(b, u.bbox.left + u.bbox.width); x += 5) g.fillRect(x, y, 1.5, high);
      }
    });
    g.restore();
  }

  limits(u, limits) {
    const g = u.ctx, ratio = window.devicePixelRatio || 1;
    g.save();
    g.strokeStyle = g.fillStyle = "#a3301b"; g.lineWidth = 1.2 * ratio;
    g.font = 11 * ratio + 'px "Liberation Sans", "DejaVu Sans", Arial, sans-serif'; g.textAlign = "right"; g.textBaseline = "bottom";
    const right = u.bbox.left + u.bbox.width - 4, sorted = [...limits].sort((a, b) => a[1] - b[1]);
    sorted.forEach(([name, value], k) => {
      const y = u.valToPos(value, "y", true);
      const close = m => sorted[m] !== undefined && Math.abs(u.valToPos(sorted[m][1], "y", true) - y) < 16 * ratio;
      g.setLineDash([6 * ratio, 4 * ratio]); g.beginPath(); g.moveTo(u.bbox.left, y); g.lineTo(u.bbox.left + u.bbox.width, y); g.stroke();
      g.textBaseline = close(k + 1) ? "top" : "bottom";
      g.fillText(name + " " + Number(value.toPrecision(4)), close(k + 1) && close(k - 1) ? right - u.bbox.width * 0.33 : right, y + (close(k + 1) ? 2 : -1) * ratio);
    });
    g.restore();
  }

  follow(u) {
    if (this.moving || u.cursor.left === undefined || u.cursor.left < 0 || u.cursor.event == null) return;
    this.read(u.posToVal(u.cursor.left, "x"));
  }

  move(at) {
    this.read(at);
    this.moving = true;
    for (const plot of this.plots) {
      const left = plot.valToPos(at, "x");
      plot.setCursor({ left: left >= 0 && left <= plot.over.clientWidth ? left : -10, top: 10 }, false);
    }
    this.moving = false;
    this.press();
  }

  /* Local time at an elapsed second, in the offset of the dive file. */
  clock(seconds, short) {
    const d = new Date(this.data.start_ms + seconds * 1000 + this.data.offset_min * 60000), two = n => String(n).padStart(2, "0");
    const hour = two(d.getUTCHours()) + ":" + two(d.getUTCMinutes());
    const month = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"][d.getUTCMonth()];
    if (short && hour !== "00:00") return hour;
    return d.getUTCDate() + " " + month + (short || hour === "00:00" ? "" : " " + hour);
  }

  span(seconds) {
    const s = Math.floor(Math.abs(seconds)), h = Math.floor(s / 3600), m = Math.floor(s / 60) % 60;
    return (h ? h + " h " : "") + m + " min " + (s % 60) + " s";
  }

  phase(t) {
    const of = Object.fromEntries(this.data.events.map(e => [e[0], e[2]]));
    if (t < of.splash) return "on deck";
    if (t < of.bottom) return "going down";
    if (t < of.release) return "on the bottom";
    return t < of.surface ? "coming up" : "at the surface";
  }

  table() {
    this.cells = {};
    const list = this.make("dl", null, { class: "readout", "aria-live": "polite" });
    const cell = (name, wide) => {
      const box = this.make("div", null, wide ? { class: "wide" } : {});
      const value = this.make("dd", "\u2013");
      box.append(this.make("dt", name), value);
      list.append(box);
      this.cells[name] = value;
    };
    ["clock " + this.data.offset, "elapsed", "phase", "depth", "pack", "charge", "power"].forEach(name => cell(name));
    Object.keys(this.data.cases[this.kind].temperature_c).forEach(name => cell("temperature " + name));
    cell("on now", true);
    return list;
  }

  read(t) {
    this.at = t;
    this.slider.value = String(Math.round(t));
    const d = this.data, c = d.cases[this.kind];
    const put = (name, value, unit, digits) => {
      this.cells[name].textContent = value === null ? "\u2013" : value.toFixed(digits) + " " + unit;
    };
    this.cells["clock " + d.offset].textContent = this.clock(t, false);
    this.slider.setAttribute("aria-valuetext", this.clock(t, false));
    this.cells.elapsed.textContent = this.span(t);
    this.cells.phase.textContent = this.phase(t);
    put("depth", this.at_time(c.time_s, c.depth_m, t, false), "m", 0);
    put("pack", this.at_time(c.time_s, c.voltage_v, t, true), "V", 2);
    put("charge", this.at_time(c.time_s, c.charge_pct, t, false), "%", 1);
    put("power", this.at_time(c.time_s, c.power_w, t, true), "W", 2);
    for (const [name, values] of Object.entries(c.temperature_c))
      put("temperature " + name, this.at_time(c.time_s, values, t, false), "\u00b0C", 1);
    const on = [];
    for (const lane of d.lanes)
      for (const [from, to, level, pattern] of lane.bars)
        if (t >= from && t < to) on.push(lane.label + " (" + lane.output + (level < 100 ? ", " + level + " %" : "") + (pattern ? ", " + pattern : "") + ")");
    this.cells["on now"].textContent = on.length ? on.join(", ") : "nothing";
  }

  key() {
    const list = this.make("ul", null, { class: "key" });
    const entry = (style, words) => {
      const item = this.make("li"), mark = this.make("i");
      mark.style.cssText = style;
      item.append(mark, words);
      list.append(item);
    };
    entry("border-top:3px solid #0b5871;height:0;vertical-align:.2rem", "case " + this.kind);
    entry("background:#b5d7e2", "between the cases as planned");
    entry("background:#eedfb6", "event, early to late");
    entry("border-top:2px dashed #a3301b;height:0;vertical-align:.2rem", "limit");
    list.append(this.make("li", "Drag to zoom; arrow keys on the time slider read on, + and - zoom."));
    return list;
  }
}
