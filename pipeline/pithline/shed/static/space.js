// The log in space: drawn anew only when something moves, so that a phone stays cool.
import { OrbitControls, THREE } from "nicegui-scene";

const TURN = Math.PI / 12;
const COLOURS = { ground: 0xf5f0e6, bark: 0x5b4636, wood: 0xe9d6b1, pith: 0x9c2418, knot: 0x9c2418, edge: 0x1d4a86 };
const BYTES = 6; // of the place of a point: three steps of 16 bits

export async function show(place) {
  const told = place.querySelector("[data-told]");
  const canvas = place.querySelector("canvas");
  let lines, points;
  try {
    const asked = await Promise.all([fetch(place.dataset.lines), fetch(place.dataset.points)]);
    if (!asked.every((one) => one.ok)) throw new Error("not there");
    lines = await asked[0].json();
    points = await asked[1].arrayBuffer();
  } catch { told.textContent = "It could not be loaded; load the page again."; return; }
  let drawer;
  try { drawer = new THREE.WebGLRenderer({ canvas, antialias: true }); }
  catch { told.textContent = "This browser draws nothing in space; what the picture shows stands below in words."; return; }
  drawer.setPixelRatio(Math.min(window.devicePixelRatio || 1, 2));
  drawer.setClearColor(COLOURS.ground);
  const scene = new THREE.Scene();
  scene.add(new THREE.HemisphereLight(0xffffff, 0x998877, 2.6));
  const layers = { points: cloud(lines, points), bark: rings(lines), wood: wood(lines), pith: line(lines.pith, COLOURS.pith, true), knots: knots(lines.knots) };
  for (const one of Object.values(layers)) scene.add(one);
  for (const end of lines.ends) for (const kind of ["bark", "wood"]) scene.add(line([...end[kind], end[kind][0]], COLOURS.edge));
  const middle = new THREE.Vector3(lines.length / 2, 0, 0);
  const camera = new THREE.PerspectiveCamera(32, 1, 10, 40 * lines.length);
  camera.up.set(0, 0, 1);
  const controls = new OrbitControls(camera, canvas);
  controls.enableDamping = false;
  controls.target.copy(middle);
  let waiting = false;
  const draw = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => { waiting = false; drawer.render(scene, camera); place.dataset.drawn = String(Number(place.dataset.drawn || 0) + 1); });
  };
  // far enough that the whole log is in the picture, whatever its shape
  const away = () => {
    const half = Math.tan((camera.fov * Math.PI) / 360);
    const across = 0.6 * lines.length;
    return Math.max(across / (half * camera.aspect), (0.27 * lines.length) / half);
  };
  const from = (x, y, z) => {
    camera.position.copy(middle).addScaledVector(new THREE.Vector3(x, y, z).normalize(), away());
    controls.update();
    draw();
  };
  const views = { side: [-0.25, -1, 0.28], butt: [-1, -0.12, 0.12], top: [1, -0.12, 0.12], above: [-0.02, -0.05, 1] };
  const turn = (round, up) => {
    const at = new THREE.Spherical().setFromVector3(camera.position.clone().sub(middle).applyAxisAngle(new THREE.Vector3(1, 0, 0), -Math.PI / 2));
    at.theta += round;
    at.phi = Math.min(Math.max(at.phi - up, 0.05), Math.PI - 0.05);
    camera.position.setFromSpherical(at).applyAxisAngle(new THREE.Vector3(1, 0, 0), Math.PI / 2).add(middle);
    controls.update();
    draw();
  };
  const step = (share) => { camera.position.sub(middle).multiplyScalar(share).add(middle); controls.update(); draw(); };
  const moves = { left: () => turn(-TURN, 0), right: () => turn(TURN, 0), up: () => turn(0, TURN), down: () => turn(0, -TURN), near: () => step(0.8), far: () => step(1.25), back: () => from(...views.side) };
  const keys = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "+": "near", "=": "near", "-": "far", Home: "back" };
  canvas.addEventListener("keydown", (event) => {
    const move = keys[event.key];
    if (!move || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    moves[move]();
  });
  place.addEventListener("click", (event) => {
    const { move, view } = event.target.dataset;
    if (move) moves[move]();
    if (view) from(...views[view]);
  });
  place.addEventListener("change", (event) => {
    const layer = event.target.dataset.layer;
    if (layer) { layers[layer].visible = event.target.checked; draw(); }
  });
  for (const box of place.querySelectorAll("[data-layer]")) layers[box.dataset.layer].visible = box.checked;
  controls.addEventListener("change", draw);
  const fit = () => {
    const { clientWidth: wide, clientHeight: high } = canvas;
    if (!wide || !high) return;
    drawer.setSize(wide, high, false);
    camera.aspect = wide / high;
    camera.updateProjectionMatrix();
    draw();
  };
  new ResizeObserver(fit).observe(canvas);
  fit();
  from(...views.side);
  told.textContent = `${lines.count.toLocaleString("en")} points of the scan. Drag, or use the buttons or the arrow keys, to turn it.`;
}

function cloud(lines, data) {
  const steps = new Uint16Array(data, 0, 3 * lines.count);
  const places = new Float32Array(3 * lines.count);
  for (let at = 0; at < places.length; at += 1) places[at] = lines.low[at % 3] + lines.step * steps[at];
  const shape = new THREE.BufferGeometry();
  shape.setAttribute("position", new THREE.BufferAttribute(places, 3));
  shape.setAttribute("color", new THREE.BufferAttribute(new Uint8Array(data, BYTES * lines.count, 3 * lines.count), 3, true));
  return new THREE.Points(shape, new THREE.PointsMaterial({ size: Math.max(lines.length / 210, 5), vertexColors: true }));
}

// the bark as fitted: lines round the log and along it
function rings(lines) {
  const [round, places] = [lines.clocks, lines.bark.map((one) => new THREE.Vector3(...one))];
  const stations = places.length / round;
  const ends = [];
  for (let x = 0; x < stations; x += 3) for (let at = 0; at < round; at += 1) ends.push(places[x * round + at], places[x * round + ((at + 1) % round)]);
  for (let at = 0; at < round; at += round / 12) for (let x = 0; x + 1 < stations; x += 1) ends.push(places[x * round + at], places[(x + 1) * round + at]);
  return new THREE.LineSegments(new THREE.BufferGeometry().setFromPoints(ends), new THREE.LineBasicMaterial({ color: COLOURS.edge, transparent: true, opacity: 0.55 }));
}

// the wood under bark as a solid, closed at both ends
function wood(lines) {
  const places = lines.wood.flat();
  const [round, stations] = [lines.clocks, lines.wood.length / lines.clocks];
  const faces = [];
  for (let x = 0; x + 1 < stations; x += 1) for (let at = 0; at < round; at += 1) {
    const [a, b] = [x * round + at, x * round + ((at + 1) % round)];
    faces.push(a, b, a + round, b, b + round, a + round);
  }
  for (const { wood: edge } of lines.ends) {
    const first = places.length / 3;
    places.push(...edge.flat());
    for (let at = 1; at + 1 < edge.length; at += 1) faces.push(first, first + at, first + at + 1);
  }
  const shape = new THREE.BufferGeometry();
  shape.setAttribute("position", new THREE.BufferAttribute(new Float32Array(places), 3));
  shape.setIndex(faces);
  shape.computeVertexNormals();
  return new THREE.Mesh(shape, new THREE.MeshLambertMaterial({ color: COLOURS.wood, side: THREE.DoubleSide }));
}

function line(places, colour, through = false) {
  const shape = new THREE.BufferGeometry().setFromPoints(places.map((one) => new THREE.Vector3(...one)));
  const made = new THREE.Line(shape, new THREE.LineBasicMaterial({ color: colour, depthTest: !through }));
  made.renderOrder = through ? 1 : 0;
  return made;
}

function knots(found) {
  const all = new THREE.Group();
  for (const knot of found) {
    const ring = new THREE.Mesh(
      new THREE.TorusGeometry(Math.max(knot.diameter / 2, 15), 5, 8, 32),
      new THREE.MeshBasicMaterial({ color: COLOURS.knot }),
    );
    const out = new THREE.Vector3(...knot.out);
    ring.position.set(...knot.at).addScaledVector(out, knot.height + 6);
    ring.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), out);
    all.add(ring);
  }
  return all;
}
