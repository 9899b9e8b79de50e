// The page's one script: it sends what is typed and dropped, asks for the parts of
// the page that have changed, and draws waveforms. It works nothing out.
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

/* ---- what is said to the user ---- */
const said = $("#said"), trouble = $("#trouble");
const say = text => { said.textContent = text; };
const complain = text => {
  trouble.hidden = !text;
  trouble.textContent = text || "";
};

/* ---- sending ---- */
const post = async (url, fields) => {
  let a;
  try {
    const r = await fetch(url, {method: "POST", body: new URLSearchParams(fields)});
    const text = await r.text();
    try { a = JSON.parse(text); } catch { a = {ok: false, error: text.trim() || "the server answered " + r.status}; }
  } catch {
    a = {ok: false, error: "the server does not answer: is \u201cstillglow bench\u201d still running? What was done before is kept."};
  }
  complain(a.ok ? "" : a.error);
  return a;
};
/* live is a field as it stands now: its part may have been shown anew since. */
const live = i => i.isConnected ? i : (i.id && document.getElementById(i.id)) || i;
const unmark = i => {
  if (!i.hasAttribute("aria-invalid")) return;
  i.removeAttribute("aria-invalid");
  i.removeAttribute("aria-describedby");
  const note = document.getElementById("wrong-" + (i.id || i.name));
  if (note) note.remove();
};
const wrong = (i, text) => {
  const id = "wrong-" + (i.id || i.name);
  i.setAttribute("aria-invalid", "true");
  i.setAttribute("aria-describedby", id);
  (i.closest("label") || i).after(el("p", {class: "wrong", id}, text));
};
const mark = (form, a) => {
  $$("input, select", form).forEach(i => unmark(live(i)));
  if (a.ok || !a.field) return;
  const input = form.elements[a.field];
  if (!input || !input.setAttribute) return;
  wrong(live(input), a.error);
  complain("");
  live(input).focus();
};
const onTheirWay = new Set(); // Enter in a field is both a change and a submit
const send = async (form, submitter) => {
  const fields = new FormData(form);
  if (submitter && submitter.name) fields.append(submitter.name, submitter.value);
  if (form.dataset.edit) fields.append("op", form.dataset.edit);
  const url = form.dataset.post || "/edit", key = url + "?" + new URLSearchParams(fields);
  if (onTheirWay.has(key)) return;
  onTheirWay.add(key);
  const a = await post(url, fields);
  onTheirWay.delete(key);
  if (a.ok) $$("input, select", form).forEach(clean);
  if (a.ok && ["reading", "shown", "unit-new", "unit-again"].includes(form.dataset.edit)) $$("input:not([type=hidden])", form).forEach(i => { i.value = ""; });
  mark(form, a);
  if (a.ok) say(a.said || "done");
};
/* What was typed once is offered from then on, also ahead of the sheet. */
const offered = new Map(); // datalist: values
const offer = i => {
  const v = i.value && i.value.trim();
  if (!i.dataset || !i.dataset.offer || !v) return;
  if (!offered.has(i.dataset.offer)) offered.set(i.dataset.offer, new Set());
  offered.get(i.dataset.offer).add(v);
  fillOffers();
};
const fillOffers = () => offered.forEach((values, id) => {
  const list = document.getElementById(id);
  if (!list) return;
  const there = new Set($$("option", list).map(o => o.value.toLowerCase()));
  values.forEach(v => { if (!there.has(v.toLowerCase())) list.append(el("option", {value: v})); });
});
/* What stands in a field is from now on what the sheet says. */
const clean = i => {
  if (i.type === "checkbox") i.defaultChecked = i.checked = false;
  else if (i.tagName === "SELECT") Array.from(i.options).forEach(o => { o.defaultSelected = o.selected; });
  else if (i.type !== "hidden") i.defaultValue = i.value;
};
document.addEventListener("submit", e => {
  e.preventDefault();
  send(e.target, e.submitter);
});
document.addEventListener("change", e => {
  offer(e.target);
  const form = e.target.closest("form[data-now]");
  if (form && $$("input[required]", form).every(i => i.value.trim())) send(form);
});
document.addEventListener("click", async e => {
  const b = e.target.closest("button[type=button]");
  if (!b) return;
  if (b.dataset.give) {
    const id = b.dataset.give, f = {op: "give", id};
    for (const k of ["brand", "model", "mark", "state", "date", "load_a"]) f[k] = $(`[name="${k}.${id}"]`).value;
    const a = await post("/edit", f);
    if (a.ok) say("assigned to " + [f.brand, f.model, f.mark].join(" "));
    return;
  }
  if (b.dataset.edit) {
    const f = {op: b.dataset.edit};
    for (const k of ["id", "scope", "unit", "n", "was"]) if (b.dataset[k] !== undefined) f[k] = b.dataset[k];
    const a = await post("/edit", f);
    if (a.ok) say("done");
    return;
  }
  if (b.dataset.post) {
    b.disabled = true;
    const a = await post(b.dataset.post, b.dataset.forward ? {forward: "1"} : {});
    b.disabled = false;
    if (a.ok) say(b.id === "write" ? "report written" : "done");
  }
});

/* ---- dropped files, three on their way at a time ---- */
const drop = $("#drop"), list = $("#uploads"), queue = [];
let sending = 0;
const pump = () => {
  while (sending < 3 && queue.length) {
    const {file, row} = queue.shift();
    sending++;
    upload(file, row, 0);
  }
};
const upload = (file, row, tries) => {
  const x = new XMLHttpRequest(), bar = $("progress", row), note = $(".upnote", row);
  const end = (text, gone) => {
    sending--;
    note.textContent = text;
    if (bar) bar.remove();
    if (gone) setTimeout(() => row.remove(), 4000);
    pump();
  };
  x.open("POST", "/captures?name=" + encodeURIComponent(file.name));
  x.upload.onprogress = p => { if (p.lengthComputable) { bar.max = p.total; bar.value = p.loaded; } };
  x.onload = () => {
    let a;
    try { a = JSON.parse(x.responseText); } catch { a = {ok: false, error: x.responseText.trim()}; }
    if (x.status === 429 && tries < 50) { setTimeout(() => upload(file, row, tries + 1), 400); return; }
    if (!a.ok) { row.classList.add("failed"); end(a.error || "refused"); return; }
    if (a.error) { row.classList.add("failed"); end(a.error); return; }
    if (a.same) end("this file is here already, as " + a.file);
    else end(a.file === file.name ? "kept" : "kept as " + a.file + ", since another " + file.name + " is here", true);
    say(file.name + (a.same ? " is here already" : " arrived"));
  };
  x.onerror = () => { row.classList.add("failed"); end("did not arrive: is \u201cstillglow bench\u201d still running? Drop it again."); };
  x.send(file);
};
const add = (files, folders) => {
  for (const name of folders || []) {
    const row = el("li", {class: "failed"});
    row.append(el("bdi", {}, name), " ", el("span", {class: "upnote"}, "is a folder: drop the files in it, or name it below to follow it"));
    list.append(row);
    say(name + " is a folder");
  }
  for (const file of files) {
    $$("li.failed", list).forEach(old => { if ($("bdi", old).textContent === file.name) old.remove(); }); // dropped again
    const row = el("li"), name = el("bdi", {}, file.name);
    row.append(name, " ", el("progress", {"aria-label": "sending " + file.name, max: 1, value: 0}), " ", el("span", {class: "upnote"}));
    list.append(row);
    queue.push({file, row});
  }
  pump();
};
$("#files").addEventListener("change", e => { add(e.target.files); e.target.value = ""; });
for (const type of ["dragenter", "dragover"]) document.addEventListener(type, e => {
  if (!e.dataTransfer || !Array.from(e.dataTransfer.types).includes("Files")) return;
  e.preventDefault();
  drop.classList.add("over");
});
document.addEventListener("dragleave", e => { if (!e.relatedTarget) drop.classList.remove("over"); });
document.addEventListener("drop", e => {
  if (!e.dataTransfer || !e.dataTransfer.files.length) return;
  e.preventDefault();
  drop.classList.remove("over");
  const entries = Array.from(e.dataTransfer.items || []).map(i => i.webkitGetAsEntry && i.webkitGetAsEntry()).filter(x => x && x.isDirectory).map(x => x.name);
  add(Array.from(e.dataTransfer.files).filter(f => !entries.includes(f.name)), entries);
});

/* ---- parts that change ---- */
const dirty = i => i.type === "hidden" || i.type === "file" ? false : i.type === "checkbox" ? i.checked !== i.defaultChecked :
  i.tagName === "SELECT" ? Array.from(i.options).some(o => o.selected !== o.defaultSelected) : i.value !== i.defaultValue;
/* place names an element so that it is found again in the part as it is then. */
const place = e => {
  if (e.id) return "#" + e.id;
  const form = e.closest("form"), box = e.closest("details[id], article[id], tr");
  const own = ["data-edit", "data-id", "data-give", "data-unit", "data-n", "data-scope", "href", "name", "value"].map(k => e.getAttribute(k)).join("|");
  return [e.tagName, own, box && box.id, form && form.dataset.edit, form && $("input[type=hidden]", form)?.value].join("\n");
};
/* overtaken tells that a field which is being typed into was changed elsewhere. */
const overtaken = (i, now) => {
  const id = "overtaken-" + i.id;
  (i.closest("label") || i).after(el("p", {class: "overtaken", id}, now ? "the sheet now says \u201c" + now + "\u201d; what you typed would replace it" : "the sheet now has nothing here; what you typed would be entered"));
  i.setAttribute("aria-describedby", id);
};
/* given notes which details the server gave open, to know those that the user opened. */
const given = part => $$("details[id]", part).forEach(d => { d.dataset.given = String(d.open); });
given(document);
/* swap shows a part anew and keeps what is open, typed and focused in it. */
const swap = (part, html) => {
  const fresh = document.createElement("div");
  fresh.innerHTML = html;
  const open = new Map($$("details[id]", part).filter(d => String(d.open) !== d.dataset.given).map(d => [d.id, d.open])); // by the user
  const typed = new Map($$("input[id], select[id]", part).filter(dirty).map(i => [i.id, {value: i.type === "checkbox" ? i.checked : i.value, was: i.defaultValue}]));
  const wrongs = $$("[aria-invalid][id]", part).map(i => [i.id, document.getElementById("wrong-" + i.id)?.textContent]);
  const waves = new Map($$(".wave", part).filter(w => w.plot).map(w => [w.dataset.wave + w.dataset.version, w]));
  const at = document.activeElement, inside = part.contains(at), to = inside && place(at), pos = inside && at.selectionStart, end = inside && at.selectionEnd;
  const y = scrollY, height = part.offsetHeight;
  part.replaceChildren(...fresh.childNodes);
  given(part);
  open.forEach((o, id) => { const d = document.getElementById(id); if (d && d.tagName === "DETAILS") d.open = o; });
  typed.forEach((v, id) => {
    const i = document.getElementById(id);
    if (!i) return;
    if (i.type === "checkbox") { i.checked = v.value; return; }
    const now = i.defaultValue;
    i.value = v.value;
    if (now !== undefined && now !== v.was && now !== v.value) overtaken(i, now);
  });
  wrongs.forEach(([id, text]) => { const i = document.getElementById(id); if (i && text) wrong(i, text); });
  fillOffers();
  $$(".wave", part).forEach(w => { const old = waves.get(w.dataset.wave + w.dataset.version); if (old) w.replaceWith(old); else seen.observe(w); });
  drawRest();
  if (inside) {
    const next = $$("a[href], button, input, select, summary, [tabindex]", part).find(e => place(e) === to) || $("h2", part.closest("section") || document);
    if (next && next !== document.activeElement) {
      next.focus({preventScroll: true});
      if (pos !== null && pos !== undefined && next.setSelectionRange) try { next.setSelectionRange(pos, end); } catch { /* not a text field */ }
      else if (pos === null && next.select && !typed.has(next.id)) next.select(); // a number's selection can't be read: what is typed next replaces it, as on coming to it
    }
  }
  const q = $("#valve-q", part);
  if (q && q.value) q.dispatchEvent(new Event("input", {bubbles: true})); // its list went with the old part
  const section = part.closest("section");
  if (section && section.getBoundingClientRect().bottom < 0) scrollTo(0, y + part.offsetHeight - height);
};
/* A list of choices that is open closes when its part is shown anew: wait for the choice. */
let choosing = 0; // when a list was last opened, 0: none is
for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, e => { choosing = e.target.tagName === "SELECT" ? Date.now() : 0; });
for (const kind of ["change", "focusout"]) document.addEventListener(kind, () => { choosing = 0; });
const chooses = part => Date.now() - choosing < 8000 && document.activeElement && document.activeElement.tagName === "SELECT" && part.contains(document.activeElement);
const pause = ms => new Promise(ok => setTimeout(ok, ms));
const loading = new Map(); // part: wanted again
const shown = new Map(); // part: as it was last given
const load = async name => {
  if (loading.has(name)) { loading.set(name, true); return; }
  loading.set(name, false);
  const part = $(`[data-part="${name}"]`);
  try {
    while (chooses(part)) await pause(300);
    const r = await fetch("/part/" + name);
    const html = r.ok ? await r.text() : "";
    if (r.ok && html !== shown.get(name)) { swap(part, html); shown.set(name, html); }
    if (r.status === 403) complain("this page is from an earlier run: open the address that \u201cstillglow bench\u201d printed when it started");
  } catch { /* the events tell when the server is back */ }
  const more = loading.get(name);
  loading.delete(name);
  if (more) load(name);
};
const parts = $$("[data-part]").map(p => p.dataset.part);
let first = true;
const events = new EventSource("/events");
events.addEventListener("hello", () => {
  if (!first) { complain(""); parts.forEach(load); }
  first = false;
  document.documentElement.dataset.live = "1";
});
events.addEventListener("changed", e => e.data.split(" ").forEach(load));
events.onerror = () => {
  if (!first) complain("the server does not answer; everything so far is kept. Start \u201cstillglow bench\u201d again and open its new address.");
};

/* ---- valves ---- */
const valveBox = () => [$("#valve-q"), $("#valve-found")];
let asked = 0;
const chosen = () => $("#valve-found [aria-selected=true]");
const choose = o => {
  const [q, box] = valveBox();
  $$("[role=option]", box).forEach(x => x.setAttribute("aria-selected", String(x === o)));
  if (o) { q.setAttribute("aria-activedescendant", o.id); o.scrollIntoView({block: "nearest"}); } else q.removeAttribute("aria-activedescendant");
};
const closeValves = () => {
  const [q, box] = valveBox();
  box.replaceChildren();
  q.setAttribute("aria-expanded", "false");
  q.removeAttribute("aria-activedescendant");
};
const take = async o => {
  const type = o.dataset.type, [q] = valveBox();
  q.value = "";
  closeValves();
  const a = await post("/edit", {op: "valve", type});
  if (a.ok) say(type + " added");
};
let entered = false; // Enter came while the list was on its way
document.addEventListener("input", async e => {
  if (e.target.id !== "valve-q") return;
  if (e.isTrusted) entered = false;
  const mine = ++asked, q = e.target.value.trim();
  if (!q) { closeValves(); return; }
  const r = await fetch("/valves?q=" + encodeURIComponent(q));
  const html = r.ok ? await r.text() : "";
  if (mine !== asked || !r.ok) return; // asked anew meanwhile, perhaps in a part that was shown anew
  const [input, box] = valveBox();
  box.innerHTML = html;
  input.setAttribute("aria-expanded", "true");
  choose($("[role=option]", box));
  if (entered && chosen()) take(chosen());
  entered = false;
});
document.addEventListener("keydown", e => {
  if (e.target.id !== "valve-q") return;
  const options = $$("#valve-found [role=option]"), i = options.indexOf(chosen());
  if (e.key === "ArrowDown" || e.key === "ArrowUp") {
    e.preventDefault();
    choose(options[Math.max(0, Math.min(options.length - 1, i + (e.key === "ArrowDown" ? 1 : -1)))]);
  } else if (e.key === "Enter") {
    e.preventDefault();
    if (chosen()) take(chosen()); else entered = e.target.value.trim() !== "";
  }
  else if (e.key === "Escape") closeValves();
});
document.addEventListener("click", e => { const o = e.target.closest("#valve-found [role=option]"); if (o) take(o); });

/* ---- links into what is collapsed ---- */
document.addEventListener("click", e => {
  const a = e.target.closest('a[href^="#"]');
  if (!a) return;
  const d = document.getElementById(a.getAttribute("href").slice(1));
  if (d && d.tagName === "DETAILS") d.open = true;
  const field = a.dataset.to && document.getElementById(a.dataset.to);
  if (field) {
    e.preventDefault();
    field.focus();
    field.scrollIntoView({block: "center"});
  }
});

/* ---- waveforms ---- */
const css = name => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const prefix = top => top >= 1 ? [1, ""] : top >= 1e-3 ? [1e-3, "m"] : top >= 1e-6 ? [1e-6, "\u00b5"] : [1e-9, "n"];
const drawWave = async w => {
  const r = await fetch("/wave/" + w.dataset.wave);
  if (r.status !== 200) return;
  w.data = await r.json();
  plotWave(w);
};
const plotWave = w => {
  const d = w.data, x = d.min.map((_, i) => d.start_s + i * d.step_s);
  if (w.plot) w.plot.destroy();
  w.replaceChildren();
  const span = Math.abs(x[x.length - 1] - x[0]) || d.step_s, top = Math.max(...d.max.map(Math.abs), ...d.min.map(Math.abs));
  const [fx, px] = prefix(span), [fy, py] = d.unit === "V" ? prefix(top) : [1, ""];
  const axis = (f, p, u, more) => Object.assign({stroke: css("--soft"), font: "11px system-ui, 'Liberation Sans', Arial, sans-serif", grid: {stroke: css("--grid"), width: 1}, ticks: {show: false}, gap: 3,
    values: (_, t, __, ___, step) => { const d = Math.min(9, Math.max(0, Math.ceil(-Math.log10(step / f) - 1e-9))); return t.map((v, i) => { const n = (v / f).toFixed(d); return i === t.length - 1 ? n + " " + p + u : n; }); }}, more);
  w.plot = new uPlot({width: w.clientWidth || 320, height: 132, legend: {show: false}, cursor: {show: false}, padding: [8, 14, 0, 0],
    scales: {x: {time: false}},
    axes: [axis(fx, px, "s", {size: 28, gap: 9, space: 60}), axis(fy, py, d.unit === "V" ? "V" : "FS", {size: 70, space: 26})],
    series: [{}, {stroke: css("--blue"), width: 1, points: {show: false}}, {stroke: css("--blue"), width: 1, points: {show: false}}],
    bands: [{series: [1, 2], fill: css("--blue")}]}, [x, d.max, d.min], w);
  w.setAttribute("role", "img");
  w.setAttribute("aria-label", w.dataset.label);
  resized.observe(w);
};
const seen = new IntersectionObserver(list => list.forEach(s => { if (s.isIntersecting) { seen.unobserve(s.target); drawWave(s.target); } }), {rootMargin: "400px"});
/* Those out of sight follow one at a time while nothing else is to be done, so that
   paper and a quick scroll show them too. */
const idle = self.requestIdleCallback || (f => setTimeout(f, 300));
let drawing = false;
const drawRest = () => {
  if (drawing) return;
  drawing = true;
  idle(async () => {
    const w = $$(".wave").find(w => !w.data && !w.dataset.asked);
    if (w) {
      w.dataset.asked = "1";
      seen.unobserve(w);
      await drawWave(w).catch(() => {});
    }
    drawing = false;
    if (w) setTimeout(drawRest, 30);
  });
};
addEventListener("load", drawRest);
const resized = new ResizeObserver(list => list.forEach(s => { const w = s.target; if (w.plot && Math.abs(w.plot.width - w.clientWidth) > 1 && w.clientWidth) w.plot.setSize({width: w.clientWidth, height: 132}); }));
$$(".wave").forEach(w => seen.observe(w));
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => $$(".wave").forEach(w => { if (w.plot) plotWave(w); }));
})();
