// What the pages do in the browser itself: sentences told, scans sent, touches on an end face.
window.shed = (() => {
  let fading = 0;
  function say(sentence, fault) {
    const place = document.getElementById("told");
    if (!place) return;
    place.textContent = sentence;
    place.className = `told on${fault ? " fault" : ""}`;
    clearTimeout(fading);
    fading = setTimeout(() => { place.className = "told"; place.textContent = ""; }, fault ? 14000 : 6000);
  }
  function send(file) {
    const row = document.createElement("li");
    document.getElementById("sending").append(row);
    const asked = new XMLHttpRequest();
    asked.open("POST", `/take-in?name=${encodeURIComponent(file.name)}`);
    asked.upload.onprogress = (event) => {
      row.textContent = `${file.name}: ${Math.floor((100 * event.loaded) / Math.max(event.total, 1))} % sent`;
    };
    asked.onload = () => {
      let answer = {};
      try { answer = JSON.parse(asked.responseText); } catch { answer = {}; }
      if (asked.status === 200) { row.remove(); say(`${file.name} is in the yard; the log is being looked for in it.`); }
      else { row.textContent = `${file.name}: ${answer.fault || "it could not be taken in"}`; row.className = "fault"; row.setAttribute("role", "alert"); }
    };
    asked.onerror = () => { row.textContent = `${file.name}: the connection was lost; send it again.`; row.className = "fault"; };
    row.textContent = `${file.name}: sending`;
    asked.send(file);
  }
  async function sendPhoto(field) {
    const across = document.getElementById(`across-${field.dataset.end}`).value;
    const place = `/take-photo/${encodeURIComponent(field.dataset.log)}/${field.dataset.end}?across=${encodeURIComponent(across)}`;
    say("The photograph is being sent.");
    try {
      const asked = await fetch(place, { method: "POST", body: field.files[0] });
      const answer = await asked.json();
      if (!asked.ok) say(answer.fault, true); else say("The rings are being followed; it takes a moment.");
    } catch { say("The connection was lost; send the photograph again.", true); }
    field.value = "";
  }
  document.addEventListener("change", (event) => {
    if (event.target.matches("input[data-end]") && event.target.files.length) sendPhoto(event.target);
    if (event.target.id === "scans") { for (const file of event.target.files) send(file); event.target.value = ""; }
  });
  for (const kind of ["dragover", "dragleave", "drop"]) document.addEventListener(kind, (event) => {
    const place = event.target.closest?.("#drop");
    if (kind === "dragover" || kind === "drop") event.preventDefault();
    document.getElementById("drop")?.classList.toggle("over", kind === "dragover" && Boolean(place));
    if (kind === "drop" && place) for (const file of event.dataTransfer.files) send(file);
  });
  // where an end face was touched, in mm from its leftmost and topmost point: the picture's own coordinates
  function touch(event) {
    const picture = event.currentTarget.querySelector("svg") || event.currentTarget;
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
    return [point.x, point.y];
  }
  // the log in space is heavy: it is fetched once it comes into view
  const near = new IntersectionObserver((seen) => {
    for (const { isIntersecting, target } of seen) if (isIntersecting) {
      near.unobserve(target);
      import("/shed-files/space.js").then((found) => found.show(target));
    }
  }, { rootMargin: "200px" });
  const look = () => { for (const one of document.querySelectorAll(".space:not([data-known])")) { one.dataset.known = ""; near.observe(one); } };
  // what is drawn anew keeps the place of whoever works by keyboard
  let held = null;
  document.addEventListener("focusin", (event) => { held = event.target; });
  document.addEventListener("pointerdown", () => { held = null; });
  function keepPlace() {
    if (!held || held.isConnected || !held.id || document.activeElement !== document.body) return;
    document.getElementById(held.id)?.focus({ preventScroll: true });
  }
  new MutationObserver(() => { look(); keepPlace(); }).observe(document, { childList: true, subtree: true });
  return { say, touch };
})();
