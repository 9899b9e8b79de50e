(() => {
"use strict";
const $ = (s, root) => (root || document).querySelector(s);
const $$ = (s, root) => Array.from((root || document).querySelectorAll(s));
const el = (tag, attrs, text) => {
  const e = document.createElement(tag);
  for (const k in attrs || {}) e.setAttribute(k, attrs[k]);
  if (text !== undefined) e.textContent = text;
  return e;
};
const data = JSON.parse($("#data").textContent);

/* ---- numbers ---- */
const prefixes = {"-5": "f", "-4": "p", "-3": "n", "-2": "\u00b5", "-1": "m", 0: "", 1: "k", 2: "M", 3: "G"};
const scaleFor = v => {
  v = Math.abs(v);
  if (!(v > 0) || !isFinite(v)) return [1, ""];
  const e = Math.min(Math.max(Math.floor(Math.log10(v * 1.0005) / 3), -5), 3);
  return [Math.pow(1000, e), prefixes[e]];
};
const mantissa = v => {
  const a = Math.abs(v);
  if (a === 0) return "0";
  if (a < 0.9995) return String(+v.toPrecision(3));
  return v.toFixed(a < 9.995 ? 2 : a < 99.95 ? 1 : 0);
};
const eng = (v, unit) => { const [f, p] = scaleFor(v); return mantissa(v / f) + "\u00a0" + p + unit; };
const sum = (d, f) => { let s = 0; return d.map(x => f(s += x)); };
const fromLog = n => Math.pow(10, n / 10000);

/* ---- curves from the data block; decoded once, on demand ---- */
const cache = new Map();
const once = (key, make) => { if (!cache.has(key)) cache.set(key, make()); return cache.get(key); };
const wave = w => once(w, () => {
  const hi = sum(w.hi, n => n * w.q), lo = w.lo ? sum(w.lo, n => n * w.q) : hi;
  return {x: hi.map((_, i) => w.t + w.dt * i), hi, lo};
});
const dens = s => once(s, () => {
  const x = sum(s.f, fromLog);
  for (let i = 1; i < x.length; i++) if (x[i] <= x[i - 1]) x[i] = x[i - 1] * (1 + 1e-9);
  return {x, v: sum(s.v, fromLog)};
});

/* ---- looks ---- */
const css = name => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const looks = [["--blue", []], ["--verm", [8, 3]], ["--green", [3, 2]], ["--purp", [10, 3, 2, 3]], ["--oran", [10, 3, 2, 3, 2, 3]], ["--sky", [2, 2]]];
const limitDash = [9, 3, 2, 3], baseDash = [2, 3];
const font = () => "12px system-ui, 'Segoe UI', 'Liberation Sans', Arial, sans-serif";

/* One live plot: uPlot in a box that the keyboard reaches, buttons, key and a
   read-out in words. opts: {label, tables, series:[{name,color,dash,...}], x:{log,unit,name}, y:{...}, bands, draw, read} */
const alive = new Set();
class Live {
  constructor(fig, o) {
    this.o = o;
    this.box = el("div", {class: "live"});
    if (o.title) this.box.append(el("h5", {}, o.title));
    this.wrap = el("div", {class: "plotbox", tabindex: "0", role: "group", "aria-label": o.label +
      ". Left and right arrow keys move the read-out, plus and minus zoom, page up and page down shift, 0 shows all."});
    this.bar = el("div", {class: "bar"});
    for (const [text, name, act] of [["+", "zoom in", () => this.zoom(0.5)], ["\u2212", "zoom out", () => this.zoom(2)],
      ["\u2190", "shift left", () => this.shift(-0.4)], ["\u2192", "shift right", () => this.shift(0.4)], ["all", "show all", () => this.all()]]) {
      const b = el("button", {type: "button", "aria-label": name + ": " + o.label, title: name}, text);
      b.addEventListener("click", act);
      this.bar.append(b);
    }
    this.read = el("output", {class: "read"}, "Point to read, drag to zoom; the arrow keys work too.");
    this.bar.append(this.read);
    this.key = el("ul", {class: "key"});
    this.box.append(this.wrap, this.key, this.bar);
    this.past = el("p", {class: "past", role: "status"});
    this.box.append(this.past);
    fig.insertBefore(this.box, $("figcaption", fig));
    this.wrap.addEventListener("keydown", e => this.onKey(e));
    this.draw();
    alive.add(this);
    this.seen = new ResizeObserver(() => this.size());
    this.seen.observe(this.box);
  }
  width() { return Math.max(240, Math.min(1200, this.box.clientWidth || 600)); }
  size() {
    const w = this.width();
    if (this.u && Math.abs(this.u.width - w) > 1) this.u.setSize({width: w, height: this.height(w)});
  }
  height(w) { const most = this.o.height || 340; return Math.round(Math.min(most, Math.max(220, 0.72 * most, w * 0.62))); }
  draw() {
    const o = this.o, w = this.width(), ink = css("--ink"), soft = css("--soft"), grid = css("--grid");
    if (this.u) this.u.destroy();
    const axis = a => ({stroke: ink, font: font(), labelFont: font(), labelSize: 20, size: a.size || 40, gap: 4, label: a.name,
      grid: {stroke: grid, width: 1}, ticks: {stroke: soft, width: 1, size: 5}, values: (u, t) => a.values(t)});
    const series = [{}].concat(o.series.map(s => ({label: s.name, stroke: css(s.color), width: s.width === undefined ? 1.2 : s.width,
      dash: s.dash, points: {show: false}, fill: undefined, spanGaps: true, paths: o.column ? uPlot.paths.stepped({align: 1}) : undefined})));
    this.u = new uPlot({width: w, height: this.height(w), legend: {show: false}, series,
      cursor: {drag: {x: true, y: false, setScale: true}, points: {size: 6}, focus: {prox: -1}},
      scales: {x: {time: false, distr: o.x.log ? 3 : 1, range: o.x.range}, y: {distr: o.y.log ? 3 : 1, range: o.y.range}},
      axes: [axis(o.x), axis(Object.assign({size: 52}, o.y))],
      bands: (o.bands || []).map(b => ({series: b, fill: css("--pale")})),
      hooks: {setCursor: [u => this.tell(u)], setScale: [(u, k) => { if (k === "x") this.tellPast(u); }], draw: o.draw ? [u => o.draw(u)] : []}}, o.data, this.wrap);
    this.key.replaceChildren(...o.series.filter(s => s.key !== false).map(s => {
      const li = el("li");
      const ns = "http://www.w3.org/2000/svg", svg = document.createElementNS(ns, "svg"), l = document.createElementNS(ns, "line");
      for (const [k, v] of [["width", 30], ["height", 10], ["aria-hidden", "true"]]) svg.setAttribute(k, v);
      for (const [k, v] of [["x1", 0], ["x2", 30], ["y1", 5], ["y2", 5], ["stroke", css(s.color)], ["stroke-width", 2.2],
        ["stroke-dasharray", (s.dash || []).join(" ")]]) l.setAttribute(k, v);
      svg.append(l);
      li.append(svg, el("bdi", {}, s.name));
      return li;
    }));
  }
  tell(u) {
    const i = u.cursor.idx;
    if (i === null || i === undefined) return;
    this.idx = i;
    const words = this.o.read(u.data, i);
    if (this.read.textContent !== words) this.read.textContent = words;
  }
  /* Says so where so few columns are in view that they look like steps. */
  tellPast(u) {
    const c = this.o.column;
    if (!c) return;
    const words = (u.scales.x.max - u.scales.x.min) / c.s < u.width / 8 ? c.words : "";
    if (this.past.textContent !== words) this.past.textContent = words;
  }
  range() { return [this.u.scales.x.min, this.u.scales.x.max]; }
  to(a, b) {
    const x = this.u.data[0], lo = x[0], hi = x[x.length - 1];
    a = Math.max(a, lo); b = Math.min(b, hi);
    if (b > a) this.u.setScale("x", {min: a, max: b});
  }
  zoom(f) {
    let [a, b] = this.range();
    const log = this.o.x.log;
    if (log) { a = Math.log10(a); b = Math.log10(b); }
    const c = (a + b) / 2, h = (b - a) / 2 * f;
    log ? this.to(Math.pow(10, c - h), Math.pow(10, c + h)) : this.to(c - h, c + h);
  }
  shift(f) {
    let [a, b] = this.range();
    const log = this.o.x.log, x = this.u.data[0];
    let lo = x[0], hi = x[x.length - 1];
    if (log) { a = Math.log10(a); b = Math.log10(b); lo = Math.log10(lo); hi = Math.log10(hi); }
    let d = (b - a) * f;
    d = Math.max(lo - a, Math.min(hi - b, d));
    log ? this.to(Math.pow(10, a + d), Math.pow(10, b + d)) : this.to(a + d, b + d);
  }
  all() { const x = this.u.data[0]; this.to(x[0], x[x.length - 1]); }
  move(step) {
    const u = this.u, x = u.data[0], [a, b] = this.range();
    let i = this.idx;
    if (i === undefined || x[i] < a || x[i] > b) i = x.findIndex(v => v >= a);
    else i += step;
    i = Math.max(0, Math.min(x.length - 1, i));
    if (x[i] < a || x[i] > b) return;
    u.setCursor({left: u.valToPos(x[i], "x"), top: u.over.clientHeight / 2});
    this.idx = i;
    this.read.textContent = this.o.read(u.data, i);
  }
  onKey(e) {
    const big = e.shiftKey ? 20 : 1;
    const act = {ArrowRight: () => this.move(big), ArrowLeft: () => this.move(-big), "+": () => this.zoom(0.5), "=": () => this.zoom(0.5),
      "-": () => this.zoom(2), "0": () => this.all(), PageUp: () => this.shift(-0.4), PageDown: () => this.shift(0.4)}[e.key];
    if (!act || e.ctrlKey || e.metaKey || e.altKey) return;
    e.preventDefault();
    this.read.setAttribute("aria-live", "polite");
    act();
  }
  gone() { this.seen.disconnect(); if (this.u) this.u.destroy(); this.box.remove(); alive.delete(this); }
}

/* ---- axes ---- */
const linear = (name, unit, max, about) => {
  const [f, p] = scaleFor(max);
  const digits = t => {
    const step = t.length > 1 ? Math.abs(t[1] - t[0]) / f : 0.01;
    let d = 0;
    while (d < 6 && Math.abs(Math.round(step * Math.pow(10, d)) / (step * Math.pow(10, d)) - 1) > 1e-3) d++;
    return d;
  };
  return {name: (name ? name + " in " : "") + p + unit + (about || ""), values: t => { const d = digits(t); return t.map(v => (v / f).toFixed(d).replace(/^-(0(\.0*)?)$/, "$1")); }};
};
const logAxis = name => ({log: true, name, values: t => t.map(v => {
  if (v === null || v === undefined) return null;
  const e = Math.log10(v);
  if (Math.abs(e - Math.round(e)) > 1e-6) return null;
  const [f, p] = scaleFor(v * 1.0000001);
  return Math.round(v / f) + p;
})});
const decades = (u, lo, hi) => lo > 0 ? [Math.pow(10, Math.floor(Math.log10(lo) + 1e-9)), Math.pow(10, Math.ceil(Math.log10(hi) - 1e-9))] : [1e-9, 1];

/* more: where single samples are to be seen, "" for nowhere. */
const waveSpec = (w, title, label, more) => {
  const c = wave(w);
  let top = 0;
  for (let i = 0; i < c.hi.length; i++) top = Math.max(top, Math.abs(c.hi[i]), Math.abs(c.lo[i]));
  const end = Math.max(Math.abs(c.x[0]), Math.abs(c.x[c.x.length - 1]));
  const about = w.o ? ", about " + w.o.toFixed(3) + "\u00a0" + w.u : "";
  const [f, p] = scaleFor(top);
  const mV = v => (v >= 0 ? "+" : "\u2212") + mantissa(Math.abs(v) / f) + "\u00a0" + p + w.u;
  const same = c.lo === c.hi;
  const column = w.n > 1.01 && {s: w.dt, words: "Zoomed past what this page holds: one column is " + (w.n < 9.5 ? mantissa(w.n) : Math.round(w.n)) +
    " samples (" + eng(w.dt, "s") + "), drawn from its lowest to its highest volts." + more};
  return {label, title, column, height: 260, data: same ? [c.x, c.hi] : [c.x, c.hi, c.lo], bands: same ? [] : [[1, 2]],
    series: same ? [{name: "volts", color: "--blue", key: false}] : [{name: "greatest", color: "--blue", key: false, width: 0.8}, {name: "least", color: "--blue", key: false, width: 0.8}],
    x: linear("time", "s", end), y: linear("", w.u, top, about),
    read: (d, i) => {
      const at = eng(d[0][i], "s") + ": ";
      if (same || d[1][i] === d[2][i]) return at + (w.o ? w.o.toFixed(3) + "\u00a0" + w.u + " " : "") + mV(d[1][i]);
      return at + mV(d[2][i]) + " to " + mV(d[1][i]) + about;
    },
    draw: u => {
      const g = u.ctx, r = devicePixelRatio || 1, s = 4.5 * r;
      g.save();
      g.fillStyle = css("--verm");
      const around = Math.ceil(Math.max(3, 13 / w.n, 0.003 * (u.scales.x.max - u.scales.x.min) / w.dt));
      for (const [t, peak] of w.m || []) {
        if (t < u.scales.x.min || t > u.scales.x.max) continue;
        const k = Math.round((t - w.t) / w.dt);
        let hi = -Infinity, lo = Infinity;
        for (let j = Math.max(0, k - around); j <= Math.min(c.hi.length - 1, k + around); j++) { hi = Math.max(hi, c.hi[j]); lo = Math.min(lo, c.lo[j]); }
        if (hi < lo) continue;
        const x = u.valToPos(t, "x", true), y = u.valToPos(peak >= 0 ? hi : lo, "y", true), d = peak >= 0 ? -1 : 1;
        g.beginPath(); g.moveTo(x, y + 2 * r * d); g.lineTo(x - s, y + d * (2 * r + 1.7 * s)); g.lineTo(x + s, y + d * (2 * r + 1.7 * s)); g.fill();
      }
      g.restore();
    }};
};

/* The nearest point of a joined series at or around i. */
const near = (col, i) => {
  for (let k = 0; k < 60; k++) {
    if (col[i - k] !== undefined && col[i - k] !== null) return col[i - k];
    if (col[i + k] !== undefined && col[i + k] !== null) return col[i + k];
  }
  return null;
};

/* Names of lines right of their peaks, none over another; from one that had to move up, a thin line leads down to its peak. */
const nameLines = (u, names) => {
  const g = u.ctx, r = devicePixelRatio || 1, taken = [], h = 13 * r;
  g.save();
  g.font = 11 * r + "px system-ui, 'Segoe UI', 'Liberation Sans', Arial, sans-serif";
  g.fillStyle = css("--ink");
  g.textBaseline = "middle";
  g.textAlign = "left";
  const right = u.bbox.left + u.bbox.width, top = u.bbox.top;
  for (const [f, v, name] of names) {
    if (f < u.scales.x.min || f > u.scales.x.max) continue;
    const w = g.measureText(name).width, at = u.valToPos(f, "x", true), x = Math.min(at + 4 * r, right - w - 2 * r), peak = Math.max(u.valToPos(v, "y", true), top + h / 2);
    let y = peak;
    for (let k = 0; k < 8 && y - h / 2 >= top - 1; k++, y -= h) {
      if (taken.some(t => x < t[0] + t[2] + 4 && t[0] < x + w + 4 && Math.abs(y - t[1]) < h)) continue;
      if (k && x > at) { g.strokeStyle = css("--soft"); g.lineWidth = 0.7 * r; g.beginPath(); g.moveTo(at, peak); g.lineTo(at, y); g.lineTo(x - r, y); g.stroke(); }
      g.fillStyle = css("--veil");
      g.fillRect(x - r, y - h / 2, w + 2 * r, h);
      g.fillStyle = css("--ink");
      g.fillText(name, x, y);
      taken.push([x, y, w]);
      break;
    }
  }
  g.restore();
};

const densitySpec = (list, label, withBase, names) => {
  const tables = [], series = [];
  let lo = Infinity, hi = 0, u = "V";
  for (const {s, name, look, plain} of list) {
    const c = dens(s);
    u = s.u;
    tables.push([c.x, c.v]);
    series.push({name, color: plain || looks[look % looks.length][0], dash: plain || names ? [] : looks[look % looks.length][1], width: 1.1, key: !plain || !series.some(q => q.name === name)});
    if (withBase && s.b) {
      const b = dens(s.b);
      tables.push([b.x, b.v]);
      series.push({name: "baseline (instrument)", color: "--soft", dash: baseDash, width: 1, key: !series.some(q => q.name === "baseline (instrument)")});
    }
    lo = Math.min(lo, c.x[0]); hi = Math.max(hi, c.x[c.x.length - 1]);
  }
  for (const l of data.limits) {
    const pts = [];
    l.f.forEach((f, i) => { if (f >= lo && f <= hi) pts.push([f, l.v[i]]); });
    for (const edge of [lo, hi]) { const v = limitAt(l, edge); if (v !== null && !pts.some(q => q[0] === edge)) pts.push([edge, v]); }
    pts.sort((a, b) => a[0] - b[0]);
    if (pts.length > 1) {
      tables.push([pts.map(q => q[0]), pts.map(q => q[1])]);
      series.push({name: "limit of the target", color: "--ink", dash: limitDash, width: 1.4, limit: l, key: !series.some(q => q.limit)});
    }
  }
  const joined = tables.length > 1 ? uPlot.join(tables) : tables[0];
  return {label, height: 400, data: joined, series, draw: names && names.length ? u => nameLines(u, names) : undefined, x: logAxis("frequency in Hz"), y: Object.assign(logAxis("noise density in " + u + "/\u221aHz"), {range: decades}),
    read: (d, i) => {
      const f = d[0][i], out = [];
      series.forEach((s, k) => {
        const v = s.limit ? limitAt(s.limit, f) : inside(d, k + 1, i) ? near(d[k + 1], i) : null;
        if (v !== null) out.push((s.limit ? "limit, " + s.limit.n : s.name) + " " + eng(v, u + "/\u221aHz"));
      });
      return eng(f, "Hz") + ": " + out.join("; ");
    }};
};
/* inside reports whether series k has points on both sides of i, or at i. */
const inside = (d, k, i) => {
  if (d[k][i] !== undefined && d[k][i] !== null) return true;
  let a = false, b = false;
  for (let j = i; j >= 0 && !a; j--) a = d[k][j] !== undefined && d[k][j] !== null;
  for (let j = i; j < d[k].length && !b; j++) b = d[k][j] !== undefined && d[k][j] !== null;
  return a && b;
};
const limitAt = (l, f) => {
  for (let i = 1; i < l.f.length; i++) {
    if (f >= l.f[i - 1] && f <= l.f[i]) {
      const t = Math.log(f / l.f[i - 1]) / Math.log(l.f[i] / l.f[i - 1]);
      return l.v[i - 1] * Math.pow(l.v[i] / l.v[i - 1], t);
    }
  }
  return null;
};

const cycleSpec = (list, label) => {
  const phases = list.length > 1, tables = [], series = [], bands = [];
  let top = 0, u = "V";
  for (const {c, name, look} of list) {
    u = c.u;
    const mean = sum(c.m, n => n * c.q), n = mean.length, x = mean.map((_, i) => phases ? 100 * i / n : c.p * i / n);
    const t = [x];
    if (!phases && c.s) { // below the mean, so drawn first
      const s = sum(c.s, v => v * c.q);
      t.push(mean.map((v, i) => v + s[i]), mean.map((v, i) => v - s[i]));
      series.push({name: "band: \u00b1 1 standard deviation of single cycles", color: "--pale", width: 0.5}, {name: "", color: "--pale", width: 0.5, key: false});
      bands.push([1, 2]);
    }
    t.push(mean);
    series.push({name, color: looks[look % looks.length][0], dash: phases ? looks[look % looks.length][1] : [], width: 1.6, mean: true});
    for (const v of mean) top = Math.max(top, Math.abs(v));
    tables.push(t);
  }
  const joined = tables.length > 1 ? uPlot.join(tables) : tables[0];
  const [f, p] = scaleFor(top), volts = v => (v >= 0 ? "+" : "\u2212") + mantissa(Math.abs(v) / f) + "\u00a0" + p + u;
  return {label, height: 300, data: joined, series, bands,
    x: phases ? {name: "share of the switching period in %", values: t => t.map(v => String(+v.toFixed(6)))} : linear("time in the switching cycle", "s", list[0].c.p),
    y: linear("", u, top),
    read: (d, i) => (phases ? mantissa(d[0][i]) + " %" : eng(d[0][i], "s")) + ": " + series.map((s, k) => {
      if (!s.mean) return null;
      const v = near(d[k + 1], i);
      return v === null ? null : (phases ? s.name + " " : "") + volts(v);
    }).filter(Boolean).join("; ") + (bands.length ? " \u00b1 " + volts((d[1][i] - d[2][i]) / 2).slice(1) : "")};
};

/* ---- a unit's figures come alive when it is opened ---- */
const specs = {
  waveform: d => [d.w && waveSpec(d.w, "", "Waveform, whole record, " + d.n,
    d.d ? " The plot below shows a few switching cycles " + (d.d.n < 1.01 ? "sample by sample." : "closer.") : ""),
    d.d && waveSpec(d.d, "", "Waveform, a few switching cycles, " + d.n, "")],
  spike: d => [d.k && waveSpec(d.k, "", "Typical spike, " + d.n, "")],
  cycle: d => [d.c && cycleSpec([{c: d.c, name: "average cycle", look: 0}], "Average switching cycle, " + d.n)],
  spectrum: d => [d.s.length && densitySpec(d.s.map((s, i) => ({s, name: s.n, look: [0, 2, 3, 4, 5][i % 5]})), "Spectrum, " + d.n, true, d.l)],
  filter: d => [d.a && densitySpec(d.s.map((s, i) => ({s, name: "measured", plain: "--soft", look: 1})).concat([{s: d.a, name: d.a.n, look: 0}]), "Spectrum before and after the post-filter, " + d.n, false)],
};
const enliven = fig => {
  const make = specs[fig.dataset.kind];
  if (!make || fig.live) return;
  const list = make(data.units[+fig.dataset.unit]).filter(Boolean);
  if (!list.length) return;
  fig.live = list.map(o => new Live(fig, o));
  fig.classList.add("islive");
};
const watchUnit = d => {
  if (d.open) $$(".fig", d).forEach(enliven);
};
$$("details.unit").forEach(d => { d.addEventListener("toggle", () => watchUnit(d)); watchUnit(d); });
$$('a[href^="#u"]').forEach(a => a.addEventListener("click", () => { const d = $(a.getAttribute("href")); if (d && d.tagName === "DETAILS") d.open = true; }));
const openHash = () => { const d = /^#u\d+$/.test(location.hash) && $(location.hash); if (d) d.open = true; };
addEventListener("hashchange", openHash);
openHash();
const tools = $("#unit-tools");
tools.hidden = false;
// Paper shows what is collapsed inside an open unit. The style sheet sees to it where
// the browser can style a closed element's contents; this is for the others.
let opened = [];
addEventListener("beforeprint", () => {
  opened = $$("details.small:not([open])").filter(d => { const u = d.closest("details.unit"); return !u || u.open; });
  opened.forEach(d => { d.open = true; });
});
addEventListener("afterprint", () => { opened.forEach(d => { d.open = false; }); opened = []; });
$("#open-all").addEventListener("click", () => $$("details.unit").forEach(d => { d.open = true; }));
$("#close-all").addEventListener("click", () => $$("details.unit").forEach(d => { d.open = false; }));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => alive.forEach(l => l.draw()));

/* ---- overlay ---- */
const pick = $("#pick");
if (pick) {
  pick.hidden = false;
  const over = $('[data-kind="overlay"]'), cycles = $('[data-kind="cycles"]');
  const redraw = () => {
    const chosen = $$("input:checked", pick).map(i => +i.value);
    for (const fig of [over, cycles]) { (fig.live || []).forEach(l => l.gone()); fig.live = []; }
    const list = [], folded = [];
    chosen.forEach((n, look) => {
      const d = data.units[n];
      d.s.filter(s => s.u === "V").forEach(s => list.push({s, name: d.n, look}));
      if (d.c && d.c.u === "V") folded.push({c: d.c, name: d.n, look});
    });
    if (list.length) {
      const o = densitySpec(list, "Spectra of the chosen units", false), seen = new Set();
      o.series.forEach(s => { if (seen.has(s.name)) s.key = false; seen.add(s.name); });
      over.live = [new Live(over, o)];
    }
    over.classList.toggle("islive", list.length > 0);
    cycles.hidden = folded.length === 0;
    if (folded.length) cycles.live = [new Live(cycles, cycleSpec(folded, "Average switching cycles of the chosen units"))];
  };
  pick.addEventListener("change", redraw);
  const begin = () => { if (!over.live) redraw(); };
  if ("IntersectionObserver" in window) {
    const io = new IntersectionObserver(seen => { if (seen.some(s => s.isIntersecting)) { io.disconnect(); begin(); } }, {rootMargin: "300px"});
    io.observe(over);
  } else begin();
}

/* ---- ranking: sort and filter ---- */
const table = $("#rank"), body = $("tbody", table), rows = $$("tr", body);
const value = (row, key) => { const c = $('[data-k="' + key + '"]', row); return c ? c.dataset.v : ""; };
const sortBy = (th, dir) => {
  const key = th.dataset.sort, text = key === "unit", sign = dir === "descending" ? -1 : 1;
  const order = rows.slice().sort((a, b) => {
    const x = value(a, key), y = value(b, key);
    if (x === "" || y === "") return x === y ? a.dataset.rank - b.dataset.rank : x === "" ? 1 : -1;
    const c = text ? x.localeCompare(y, undefined, {numeric: true}) : x - y;
    return c ? sign * c : a.dataset.rank - b.dataset.rank;
  });
  $$("th", table.tHead).forEach(h => h.removeAttribute("aria-sort"));
  th.setAttribute("aria-sort", dir);
  body.append(...order);
};
$$("th[data-sort]", table.tHead).forEach(th => {
  const b = el("button", {type: "button"}), sub = $("small", th);
  b.textContent = th.firstChild.textContent;
  b.setAttribute("title", "sort by " + b.textContent);
  th.firstChild.remove();
  th.prepend(b);
  if (sub) th.append(sub);
  b.addEventListener("click", () => sortBy(th, th.getAttribute("aria-sort") === "ascending" ? "descending" : "ascending"));
});
const filters = $("#filters"), shown = $("#shown");
const apply = () => {
  const brand = $("#brand").value, words = new Set($$("[name=verdict]:checked", filters).map(i => i.value));
  let n = 0;
  for (const r of rows) {
    r.hidden = !((!brand || r.dataset.brand === brand) && words.has(r.dataset.verdict));
    if (!r.hidden) n++;
  }
  shown.textContent = n + " of " + rows.length + " units shown";
};
filters.hidden = false;
filters.addEventListener("change", apply);
filters.addEventListener("submit", e => e.preventDefault());
apply();
})();
