// The preview's own code. Everything from the script reaches the page as text or numbers, never as markup.
const data = JSON.parse(document.getElementById("data").textContent);
const { THREE, OrbitControls } = scene3d;
const $ = (id) => document.getElementById(id);
const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
const operations = data.operations;
const pieceOf = new Map(data.pieces.map((one) => [one.id, one]));
const cutOf = new Map(operations.filter((one) => one.op === "cut").map((one) => [one.id, one]));
const settingAt = [];  // per operation: the index of its setting
operations.forEach((one, i) => settingAt.push(one.op === "setting" ? i : settingAt[i - 1]));
const madeBy = new Map();  // piece -> { cut, side, parent }
for (const cut of cutOf.values()) {
  madeBy.set(cut.above, { cut, side: 1, parent: cut.piece });
  madeBy.set(cut.below, { cut, side: -1, parent: cut.piece });
}
const state = { step: 0, where: "saw", spread: 0.25, section: null, colour: "ring", glass: false, waste: true, picked: null, playing: 0 };

// ---- what is there after so many operations --------------------------------------------------------------------
function livePieces(step) {
  const live = new Set(["log"]);
  for (const one of operations.slice(0, step)) {
    if (one.op !== "cut") continue;
    live.delete(one.piece);
    live.add(one.above).add(one.below);
  }
  return live;
}
function descends(piece, from) {
  for (let one = piece; one; one = madeBy.get(one)?.parent) if (one === from) return true;
  return false;
}

// ---- classes of colour: each has a colour, a pattern and words --------------------------------------------------
const RUNOUT = { steps: [0.5, 1, 1.5, 2, 3], colours: ["#16306e", "#2f62b0", "#4f86c2", "#8094a6", "#d0954a", "#f6e3a1"] };
const plates = data.pieces.filter((one) => one.plate);
const named = (kind) => Object.keys(data.looks[kind]);  // parts and sets look here as on the cards
const inUnits = (mm) => `${(mm / data.units.mm).toFixed(data.units.places)} ${data.units.name}`;
const span = (low, high, unit) => (high === null ? `over ${low}${unit}` : `${low}–${high}${unit}`);
function classes() {
  const { steps, colours } = data.ring;
  if (state.colour === "ring") {
    const edges = [0, ...steps, 90];
    return colours.map((colour, i) => ({ colour, pattern: colours.length - 1 - i, words: span(edges[i], edges[i + 1], "°") }));
  }
  if (state.colour === "runout") {
    const edges = [0, ...RUNOUT.steps, null];
    return RUNOUT.colours.map((colour, i) => ({ colour, pattern: i, words: span(edges[i], edges[i + 1], "°") }));
  }
  if (data.looks[state.colour]) {
    return named(state.colour).map((words) => ({ colour: data.looks[state.colour][words][0], pattern: data.looks[state.colour][words][1], words }));
  }
  if (state.colour === "place") {
    const part = data.log.length / 5;
    return ["#16306e", "#2f6f9f", "#2f9a8f", "#7fc468", "#e6e04a"].map((colour, i) => (
      { colour, pattern: i, words: `${inUnits(i * part).split(" ")[0]}–${inUnits((i + 1) * part)}` }));
  }
  return [];
}
function classOf(plate) {
  const above = (steps, value) => steps.filter((one) => value >= one).length;
  if (state.colour === "ring") return above(data.ring.steps, plate.ring);
  if (state.colour === "runout") return above(RUNOUT.steps, plate.runout);
  if (data.looks[state.colour]) return named(state.colour).indexOf(plate[state.colour]);
  if (state.colour === "place") return Math.min(4, Math.max(0, Math.floor((plate.x / data.log.length) * 5)));
  return -1;
}
function drawPattern(context, pattern, w, h) {
  context.strokeStyle = context.fillStyle = "rgba(255,255,255,.85)";
  context.lineWidth = 2;
  const line = (a, b, c, d) => { context.beginPath(); context.moveTo(a, b); context.lineTo(c, d); context.stroke(); };
  for (let i = -h; i < w + h; i += 10) {
    if (pattern === 1 && i >= 0 && i < h) line(0, i + 6, w, i + 6);
    if (pattern === 2) line(i, 0, i, h);
    if (pattern === 3 || pattern === 5) line(i, 0, i + h, h);
    if (pattern === 4 || pattern === 5) line(i + h, 0, i, h);
    if (pattern === 6) for (let j = 6; j < h; j += 10) { context.beginPath(); context.arc(i, j, 2.5, 0, 7); context.fill(); }
  }
}
function drawLegend() {
  const used = new Map();
  for (const one of plates) used.set(classOf(one.plate), (used.get(classOf(one.plate)) || 0) + 1);
  $("legend").replaceChildren(...classes().map((one, i) => [one, used.get(i)]).filter(([, n]) => n).map(([one, n]) => {
    const item = document.createElement("li");
    const swatch = document.createElement("canvas");
    swatch.width = 76; swatch.height = 44;
    const context = swatch.getContext("2d");
    context.fillStyle = one.colour;
    context.fillRect(0, 0, 76, 44);
    context.scale(2, 2);
    drawPattern(context, one.pattern, 38, 22);
    item.append(swatch, `${one.words} (${n})`);
    return item;
  }));
}

// ---- the page beside the picture ---------------------------------------------------------------------------------
const buttons = [];
function fillPage() {
  $("title").textContent = `Log ${data.log.id}`;
  for (const line of data.summary) $("summary").append(paragraph(line));
  let inner = null;
  operations.forEach((one, i) => {
    const item = document.createElement("li");
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = one.title;
    button.addEventListener("click", () => goTo(i + 1));
    item.append(button);
    buttons.push(button);
    if (one.op === "setting") {
      $("steps").append(item);
      inner = document.createElement("ol");
      item.append(inner);
    } else inner.append(item);
  });
  $("scrub").max = operations.length;
  $("section").max = Math.round(data.log.length);
}
function paragraph(text) {
  const one = document.createElement("p");
  one.textContent = text;
  return one;
}
function figuresOf(one) {  // what is set or read at a step
  const list = document.createElement("dl");
  list.className = "figures";
  list.append(...one.figures.map(([name, value]) => {
    const pair = document.createElement("div");
    const term = document.createElement("dt");
    const said = document.createElement("dd");
    term.textContent = name;
    said.textContent = value;
    pair.append(term, said);
    return pair;
  }));
  return list;
}
const lines = document.createElement("div");
lines.className = "lines";
function showStep() {
  const one = operations[state.step - 1];
  document.querySelector("#steps [aria-current]")?.removeAttribute("aria-current");
  lines.remove();
  const caption = [document.createElement("strong")];
  caption[0].textContent = one ? one.title : `Log ${data.log.id}, before the first cut`;
  if (one?.figures.length) caption.push(figuresOf(one));
  for (const text of one ? one.lines : data.summary.slice(0, 2)) {
    const span = document.createElement("span");
    span.textContent = text;
    caption.push(span);
  }
  $("caption").replaceChildren(...caption);
  if (one) {
    const button = buttons[state.step - 1];
    button.setAttribute("aria-current", "step");
    lines.replaceChildren(...(one.figures.length ? [figuresOf(one)] : []), ...one.lines.map(paragraph));
    button.after(lines);
    const list = $("steps");
    if (list.scrollHeight > list.clientHeight + 2) list.scrollTop = Math.max(0, button.offsetTop - list.clientHeight / 3);
  }
  $("scrub").value = state.step;
  $("scrub").setAttribute("aria-valuetext", caption[0].textContent);
  $("count").textContent = `${state.step} / ${operations.length}`;
  document.body.dataset.step = state.step;
}
function fillPick(shown) {
  const none = document.createElement("option");
  none.value = "";
  none.textContent = "touch one, or choose";
  $("pick").replaceChildren(none, ...shown.map((id) => {
    const option = document.createElement("option");
    const one = pieceOf.get(id);
    option.value = id;
    option.textContent = `${one.mark}: ${one.plate ? one.plate.product : one.kind}`;
    return option;
  }));
  $("pick").value = shown.includes(state.picked) ? state.picked : "";
}
function pick(id) {
  state.picked = id || null;
  $("pick").value = id || "";
  const rows = id ? pieceOf.get(id).facts : [];
  $("facts").replaceChildren(...rows.flatMap(([name, value]) => {
    const term = document.createElement("dt");
    const said = document.createElement("dd");
    term.textContent = name;
    said.textContent = value;
    return [term, said];
  }));
  document.body.dataset.picked = id || "";
  picture?.paint();
}

// ---- moving through the steps -------------------------------------------------------------------------------------
function goTo(step) {
  state.step = Math.max(0, Math.min(operations.length, step));
  refresh(true);
}
function leap(by) {  // to the setting before or after
  let i = state.step + by;
  while (i > 0 && i < operations.length && operations[i - 1].op !== "setting") i += by;
  goTo(i);
}
function play(on) {
  clearInterval(state.playing);
  const going = on && state.step < operations.length;
  state.playing = going ? setInterval(() => (state.step < operations.length ? goTo(state.step + 1) : play(false)), 1100) : 0;
  $("play").setAttribute("aria-pressed", String(Boolean(going)));
  $("play").setAttribute("aria-label", going ? "Pause" : "Play");
}
function shownPieces() {
  const setting = operations[settingAt[state.step - 1]];
  return [...livePieces(state.step)].filter((id) => {
    const one = pieceOf.get(id);
    if (!one.plate && !data.meshes[id]) return false;
    if (!state.waste && one.kind === "offcut") return false;
    return state.where === "log" || !setting || descends(id, setting.piece);
  });
}
function refresh(moved) {
  const shown = shownPieces();
  showStep();
  fillPick(shown);
  if (state.picked && !shown.includes(state.picked)) pick(null);
  drawLegend();
  picture?.arrange(shown, moved);
}
