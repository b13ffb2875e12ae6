// Sawing by a plan, one step at a time. What happens is kept here as events until the server has them, so a lost connection loses nothing.
const data = JSON.parse(document.getElementById("data").textContent);
const $ = (id) => document.getElementById(id);
const address = (path) => `/${path}/${encodeURIComponent(data.log)}?plan=${encodeURIComponent(data.plan)}`;
const KEPT = `pithline-sawing-${data.hash}`;
const INCH = 25.4;
let told = data.told;
let waiting = [];
let at = 0;
let online = true;
try { waiting = JSON.parse(localStorage.getItem(KEPT) || "[]"); } catch { waiting = []; }

// ---- the state: what the server knows, and what it has not heard yet ------------------------------------------------
function state() {
  const made = { done: [...told.done], heights: { ...told.heights }, found: [...told.found] };
  for (const event of waiting) {
    if (event.what === "done" && !made.done.includes(event.step)) made.done.push(event.step);
    if (event.what === "undone") made.done = made.done.filter((one) => one !== event.step);
    if (event.what === "heights") made.heights[event.step] = event.values;
    if (event.what === "found" && !made.found.some((one) => one.name === event.name)) made.found.push({ name: event.name, ...event.find });
    if (event.what === "unfound") made.found = made.found.filter((one) => one.name !== event.of);
  }
  return made;
}
function keep() {
  try { localStorage.setItem(KEPT, JSON.stringify(waiting)); } catch { /* a full or forbidden store: the page itself still holds them */ }
}
function happened(event) {
  const name = Array.from(crypto.getRandomValues(new Uint32Array(3)), (one) => one.toString(36)).join("-");
  waiting.push({ name, ...event });
  keep();
  return send();
}
let sending = null;
function send() {
  sending = (sending || Promise.resolve()).then(sendNow);
  return sending;
}
async function sendNow() {
  const sent = [...waiting];
  try {
    const answer = sent.length
      ? await fetch(address("sawing"), { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ events: sent }) })
      : await fetch(address("sawing"));
    const heard = await answer.json();
    online = true;
    if (answer.ok) {
      waiting = waiting.filter((one) => !sent.some((other) => other.name === one.name));
      told = heard;
    } else if (answer.status === 400) {
      waiting = waiting.filter((one) => !sent.some((other) => other.name === one.name));  // it can never be taken: say why, once
      $("wrong").textContent = heard.fault;
    }
  } catch { online = false; }
  keep();
  drawLine();
  drawFound();
}

// ---- a step ----------------------------------------------------------------------------------------------------------
function paragraphs(place, texts) {
  place.replaceChildren(...texts.map((text) => Object.assign(document.createElement("p"), { textContent: text })));
}
function length(mm) {
  if (data.units === "in") {
    const parts = Math.round((Math.abs(mm) / INCH) * 32);
    const whole = Math.floor(parts / 32);
    let [top, low] = [parts % 32, 32];
    while (top && top % 2 === 0) { top /= 2; low /= 2; }
    const words = [whole || !top ? whole : "", top ? `${top}/${low}` : ""].filter((one) => one !== "").join(" ");
    return `${mm < 0 && parts ? "-" : ""}${words} in`;
  }
  return `${Math.round(mm * 2) / 2} mm`;
}
function typed(text) {  // mm of what was typed; a bare number is in the page's own unit
  const found = text.trim().replace(",", ".").match(/^(-?\d+(?:\.\d+)?)?(?:\s+|^)?(?:(\d+)\/(\d+))?\s*(mm|cm|in|")?$/);
  if (!found || (found[1] === undefined && found[2] === undefined) || Number(found[3]) === 0) return null;
  const value = Number(found[1] || 0) + (found[2] ? Number(found[2]) / Number(found[3]) : 0);
  return value * ({ mm: 1, cm: 10, in: INCH, '"': INCH }[found[4]] ?? (data.units === "in" ? INCH : 1));
}
function draw(focus) {
  const step = data.steps[at];
  const now = state();
  $("title").textContent = step.title;
  $("where").textContent = `Step ${at + 1} of ${data.steps.length}, ${{ before: "before sawing", "chain saw": "at the log", mill: "at the mill", shop: "in the shop", dry: "when dried" }[step.where]}`;
  $("gone").style.width = `${(100 * now.done.length) / data.steps.length}%`;
  const figures = [...step.figures];
  const mean = meanOf(step, now);
  if (step.over_marks !== undefined && step.over_marks !== null && mean !== null) figures.unshift(["blade, by the marks found", length(mean + step.over_marks)]);
  $("figures").className = figures.length > 4 ? "many" : "";
  $("figures").replaceChildren(...figures.map(([name, value]) => {
    const pair = document.createElement("div");
    pair.append(Object.assign(document.createElement("dt"), { textContent: name }), Object.assign(document.createElement("dd"), { textContent: value }));
    return pair;
  }));
  paragraphs($("lines"), step.lines);
  paragraphs($("cautions"), step.cautions);
  $("rules").hidden = !step.rules.length;
  $("rules").open = step.rules.length > 0 && !now.done.includes(step.id);
  $("rules").querySelector("ul").replaceChildren(...step.rules.map((text) => Object.assign(document.createElement("li"), { textContent: text })));
  drawMeasures(step);
  drawHeights(step, now);
  const was = now.done.includes(step.id);
  $("done").textContent = was ? "Done ✓ take back" : "Done";
  $("done").className = was ? "main was" : "main";
  $("done").disabled = $("heights").querySelector(".halt") !== null && !was;
  $("prev").disabled = at === 0;
  follow();
  if (focus) { $("title").focus({ preventScroll: true }); scrollTo(0, 0); }
}
function drawMeasures(step) {
  const place = $("measures");
  place.replaceChildren();
  if (step.where !== "before") return;
  const table = document.createElement("table");
  table.className = "measures";
  const head = table.createTHead().insertRow();
  for (const text of ["Measure", "plan", "room"]) head.append(Object.assign(document.createElement("th"), { textContent: text, scope: "col" }));
  const body = table.createTBody();
  for (const row of data.measures) { const line = body.insertRow(); for (const text of row) line.insertCell().textContent = text; }
  place.append(table);
}

// ---- the marks' heights: stop where they are out of room ---------------------------------------------------------------
function settingOf(step) {  // the setting that a cut of the mill belongs to: the last one before it that has heights
  const index = data.steps.indexOf(step);
  for (let i = index; i >= 0; i--) if (data.steps[i].where === "mill" && !data.steps[i].cuts.length) return data.steps[i];
  return null;
}
function meanOf(step, now) {
  const setting = settingOf(step);
  const values = setting && now.heights[setting.id];
  return values ? (values[0] + values[1]) / 2 : null;
}
function drawHeights(step, now) {
  const place = $("heights");
  place.hidden = !step.heights;
  place.replaceChildren();
  if (!step.heights) return;
  const held = now.heights[step.id] || [null, null];
  const pair = Object.assign(document.createElement("div"), { className: "pair" });
  const fields = ["butt", "top"].map((end, i) => {
    const box = document.createElement("div");
    const field = Object.assign(document.createElement("input"), { id: `mark-${end}`, inputMode: data.units === "in" ? "text" : "decimal", autocomplete: "off", value: held[i] === null ? "" : length(held[i]) });
    box.append(Object.assign(document.createElement("label"), { htmlFor: field.id, textContent: `Mark found, ${end} end` }), field);
    pair.append(box);
    return field;
  });
  const verdict = Object.assign(document.createElement("p"), { className: "verdict" });
  verdict.setAttribute("role", "status");
  place.append(pair, verdict);
  const judge = () => {
    const found = look();
    const halts = verdict.classList.contains("halt");
    $("done").disabled = halts && !state().done.includes(step.id);
    if (halts) verdict.scrollIntoView({ block: "nearest" });  // a phone shows it over its keyboard and over the bar of steps
    return found;
  };
  const look = () => {
    const values = fields.map((one) => typed(one.value));
    verdict.className = "verdict";
    if (fields.every((one) => one.value.trim() === "")) { verdict.textContent = "Wedge until both marks stand at one height, then write both heights over the bed."; return null; }
    if (values.includes(null)) { verdict.textContent = `Write both heights, such as ${data.units === "in" ? "12 1/2" : "318"}.`; return null; }
    const mean = (values[0] + values[1]) / 2;
    const off = mean - step.heights.expected;
    const beyond = Math.abs(off) > step.heights.allowed || (step.heights.down !== null && -off > step.heights.down) || (step.heights.up !== null && off > step.heights.up);
    if (beyond) {
      verdict.className = "verdict halt";
      verdict.textContent = `STOP. The mean is ${length(mean)}, ${length(Math.abs(off))} ${off > 0 ? "over" : "under"} the ${length(step.heights.expected)} expected; ${length(step.heights.allowed)} is the room. Do not saw: find the mistake. If the log really lies so, choose “Not as planned” and plan the rest anew.`;
    } else {
      verdict.textContent = `The mean is ${length(mean)}, ${length(Math.abs(off))} off what was expected: within the room of ${length(step.heights.allowed)}. Blades follow from it.`;
    }
    return values;
  };
  for (const one of fields) {
    one.addEventListener("input", judge);
    one.addEventListener("change", () => { const values = judge(); if (values) happened({ what: "heights", step: step.id, values }); });
  }
  judge();
}

// ---- the picture beside it -------------------------------------------------------------------------------------------
let picture = null;
function follow() {
  try { picture?.contentWindow.pithline?.goTo(data.steps[at].preview); } catch { /* the picture is not there yet */ }
}
function showPicture() {
  if (picture) return;
  picture = Object.assign(document.createElement("iframe"), { title: "The log in 3D, at this step", src: `/plan-file/${encodeURIComponent(data.log)}/preview.html?plan=${encodeURIComponent(data.plan)}` });
  picture.addEventListener("load", () => {
    const style = picture.contentDocument.createElement("style");  // only the picture: the words stand beside it already
    style.textContent = "main{display:block!important;height:100vh} #stage{position:absolute!important;inset:0;height:100%!important} #transport,aside,#caption{display:none!important}";
    picture.contentDocument.head.append(style);
    picture.contentWindow.dispatchEvent(new Event("resize"));
    follow();
  });
  $("view").classList.add("open");
  $("view").replaceChildren(picture);
}

// ---- what was found --------------------------------------------------------------------------------------------------
function drawKind() {
  const form = data.forms[$("kind").value];
  $("fields").replaceChildren(...form.fields.map(([key, label, kind]) => {
    const box = Object.assign(document.createElement("div"), { className: "field" });
    box.append(Object.assign(document.createElement("label"), { htmlFor: `find-${key}`, textContent: label }));
    const field = document.createElement(kind === "end" ? "select" : "input");
    field.id = `find-${key}`;
    field.dataset.key = key;
    if (kind === "end") for (const [value, text] of [["butt", "butt end"], ["top", "top end"]]) field.append(new Option(text, value));
    else { field.autocomplete = "off"; field.placeholder = kind === "length" ? (data.units === "in" ? "3/4 in" : "18 mm") : ""; }
    box.append(field);
    return box;
  }));
}
function words(find) {
  const form = data.forms[find.kind];
  return [form.title, ...form.fields.filter(([key]) => find[key] !== undefined).map(([key, label]) => `${label.toLowerCase()} ${find[key]}`)].join(", ");
}
function drawFound() {
  const found = state().found;
  $("found").replaceChildren(...found.map((find) => {
    const row = document.createElement("li");
    const off = Object.assign(document.createElement("button"), { type: "button", className: "slight", textContent: "Take it off" });
    off.setAttribute("aria-label", `Take off: ${words(find)}`);
    off.addEventListener("click", () => { happened({ what: "unfound", of: find.name }); drawFound(); });
    row.append(Object.assign(document.createElement("span"), { textContent: words(find) }), off);
    return row;
  }));
  const anew = $("anew");
  const work = told.replan;
  anew.replaceChildren();
  $("replan").disabled = Boolean(work?.alive);
  if (!work) return;
  if (work.alive) anew.append(Object.assign(document.createElement("p"), { className: "note", textContent: `The rest is being planned: ${work.what}, ${Math.round(100 * work.part)} %.` }));
  else if (work.fault) anew.append(Object.assign(document.createElement("p"), { className: "fault", textContent: `No new plan was made: ${work.fault}` }));
  else if (work.done) {
    const go = Object.assign(document.createElement("a"), { className: "act main", textContent: "Saw by the new plan", href: `/saw/${encodeURIComponent(data.log)}?plan=${encodeURIComponent(work.out)}` });
    anew.append(go);
  }
}
function openFinds(open) {
  $("finds").hidden = !open;
  if (open) { $("finds").scrollIntoView(); $("finds-title").focus({ preventScroll: true }); } else $("title").focus();
}

// ---- hands -----------------------------------------------------------------------------------------------------------
function drawLine() {
  const place = $("line");
  place.className = online ? "line" : "line off";
  place.textContent = online ? (waiting.length ? "sending …" : "kept on the machine") : `no connection: ${waiting.length ? `${waiting.length} kept here and sent later` : "go on, nothing is lost"}`;
}
$("done").addEventListener("click", () => {
  const step = data.steps[at];
  if (state().done.includes(step.id)) happened({ what: "undone", step: step.id });
  else {
    happened({ what: "done", step: step.id });
    if (at < data.steps.length - 1) { at += 1; draw(true); return; }
  }
  draw(false);
});
$("prev").addEventListener("click", () => { if (at > 0) { at -= 1; draw(true); } });
$("odd").addEventListener("click", () => openFinds($("finds").hidden));
$("leave").addEventListener("click", () => openFinds(false));
$("kind").addEventListener("change", drawKind);
$("add").addEventListener("click", async () => {
  const find = { kind: $("kind").value };
  $("wrong").textContent = "";
  for (const field of $("fields").querySelectorAll("[data-key]")) find[field.dataset.key] = field.value;
  await happened({ what: "found", find });
  if (!$("wrong").textContent) drawKind();
  drawFound();
  $($("wrong").textContent ? "wrong" : "found").scrollIntoView({ block: "nearest" });
});
$("replan").addEventListener("click", async () => {
  $("wrong").textContent = "";
  await send();
  if (waiting.length) { $("wrong").textContent = "There is no connection to the machine that plans; come back to it first."; return; }
  try {
    const answer = await fetch(address("replan"), { method: "POST" });
    const heard = await answer.json();
    if (answer.ok) told = heard; else $("wrong").textContent = heard.fault;
  } catch { $("wrong").textContent = "There is no connection to the machine that plans; come back to it first."; }
  drawFound();
  $($("wrong").textContent ? "wrong" : "anew").scrollIntoView({ block: "nearest" });
});
$("show").addEventListener("click", showPicture);
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea, summary, button, a")) return;
  if (event.key === "ArrowLeft" && at > 0) { at -= 1; draw(true); }
  if (event.key === "ArrowRight" && at < data.steps.length - 1) { at += 1; draw(true); }
});
addEventListener("online", send);
addEventListener("offline", () => { online = false; drawLine(); });
setInterval(send, 4000);

$("back-to-plans").href = `/plans/${encodeURIComponent(data.log)}`;
for (const [kind, form] of Object.entries(data.forms)) $("kind").append(new Option(form.title, kind));
drawKind();
drawFound();
drawLine();
const open = data.steps.findIndex((step) => !state().done.includes(step.id));
at = open < 0 ? data.steps.length - 1 : open;
draw(false);
if (matchMedia("(min-width: 700px)").matches) showPicture();
send();
document.body.dataset.ready = "yes";
