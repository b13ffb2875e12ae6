// Putting it together: controls, keys, the first picture.
let picture = null;
function control() {
  $("first").addEventListener("click", () => goTo(0));
  $("last").addEventListener("click", () => goTo(operations.length));
  $("back").addEventListener("click", () => goTo(state.step - 1));
  $("next").addEventListener("click", () => goTo(state.step + 1));
  $("play").addEventListener("click", () => play(!state.playing));
  $("scrub").addEventListener("input", (event) => goTo(Number(event.target.value)));
  $("pick").addEventListener("change", (event) => pick(event.target.value));
  $("glass").addEventListener("change", (event) => { state.glass = event.target.checked; refresh(false); });
  $("waste").addEventListener("change", (event) => { state.waste = event.target.checked; refresh(false); });
  $("spread").addEventListener("input", (event) => { state.spread = event.target.value / 100; refresh(false); });
  $("colour").addEventListener("change", (event) => { state.colour = event.target.value; refresh(false); });
  $("section").addEventListener("input", (event) => {
    const at = Number(event.target.value);
    state.section = at > 0 ? at : null;
    $("sectionat").textContent = at > 0 ? inUnits(at) : "off";
    refresh(false);
  });
  for (const one of document.querySelectorAll("input[name=where]")) one.addEventListener("change", () => {
    state.where = one.value;
    refresh(false);
  });
  for (const one of document.querySelectorAll("[data-look]")) one.addEventListener("click", () => picture?.look(one.dataset.look));
  document.addEventListener("keydown", onKey);
}
function onKey(event) {
  if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, select, textarea, summary")) return;
  const choices = [...$("pick").options].map((one) => one.value).slice(1);
  const neighbour = (by) => pick(choices[(choices.indexOf(state.picked) + by + choices.length) % choices.length]);
  const acts = {
    ArrowRight: () => (event.shiftKey ? leap(1) : goTo(state.step + 1)),
    ArrowLeft: () => (event.shiftKey ? leap(-1) : goTo(state.step - 1)),
    Home: () => goTo(0),
    End: () => goTo(operations.length),
    " ": () => play(!state.playing),
    "[": () => neighbour(-1),
    "]": () => neighbour(1),
    1: () => picture?.look("corner"),
    2: () => picture?.look("pith"),
    3: () => picture?.look("side"),
  };
  if (!acts[event.key] || (event.key === " " && event.target.closest("button"))) return;
  event.preventDefault();
  acts[event.key]();
}
fillPage();
control();
try {
  picture = new Picture($("view"));
} catch (error) {
  if (!/WebGL/i.test(String(error))) throw error;
  $("nogl").hidden = false;
  $("view").hidden = true;
}
refresh(false);
picture?.fit();
const stepOf = (kind) => operations.findIndex((one) => one.op === "setting" && pieceOf.get(one.piece).kind === kind) + 1;
window.pithline = { goTo, pick, state, stepOf, length: data.log.length, screenOf: (id) => picture?.screenOf(id), pieceAt: (x, y) => picture?.pieceAt(x, y) };
document.body.dataset.ready = "yes";
