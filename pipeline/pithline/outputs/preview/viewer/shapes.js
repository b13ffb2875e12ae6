// Lines and faces worked out from triangles: sharp edges, and the face that a section opens.
function unpack(text, Kind) {
  const raw = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
  return new Kind(raw.buffer);
}
const vector = (values) => new THREE.Vector3(...values);
function boxOf(plate) {  // its exact box, with each face's own coordinates in mm for the patterns
  const made = new THREE.BufferGeometry();
  const corner = vector(plate.corner);
  const edges = plate.edges.map(vector);
  const at = [], face = [], index = [];
  for (const [a, b, c] of [[0, 1, 2], [0, 2, 1], [1, 2, 0]]) for (const far of [0, 1]) {
    const base = at.length / 3;
    const [u, v] = [edges[a].length(), edges[b].length()];
    for (const [i, j] of [[0, 0], [1, 0], [1, 1], [0, 1]]) {
      const p = corner.clone().addScaledVector(edges[a], i).addScaledVector(edges[b], j).addScaledVector(edges[c], far);
      at.push(p.x, p.y, p.z);
      face.push(i * u, j * v);
    }
    index.push(base, base + 1, base + 2, base, base + 2, base + 3);
  }
  made.setAttribute("position", new THREE.BufferAttribute(new Float32Array(at), 3));
  made.setAttribute("face", new THREE.BufferAttribute(new Float32Array(face), 2));
  made.setIndex(index);
  return made;
}
// Edges at which a surface turns by more than 28°. Slivers, which a cut may leave, take the normal of their neighbour
// across their longest side, so that no line crosses a flat face.
function edgesOf(geometry) {
  const at = geometry.getAttribute("position"), index = geometry.getIndex();
  const corner = (i) => new THREE.Vector3().fromBufferAttribute(at, i);
  const faces = [], sides = new Map(), same = new Map();
  const key = (i) => {  // boxes repeat their corners
    const p = corner(i), text = [p.x, p.y, p.z].map((v) => Math.round(v * 20)).join();
    if (!same.has(text)) same.set(text, i);
    return same.get(text);
  };
  for (let f = 0; f < index.count; f += 3) {
    const ids = [0, 1, 2].map((k) => key(index.getX(f + k)));
    const [a, b, c] = ids.map(corner);
    const normal = b.clone().sub(a).cross(c.clone().sub(a));
    const lengths = [a.distanceTo(b), b.distanceTo(c), c.distanceTo(a)];
    const longest = Math.max(...lengths), twice = normal.length();
    const names = ids.map((one, k) => [Math.min(one, ids[(k + 1) % 3]), Math.max(one, ids[(k + 1) % 3])].join());
    names.forEach((name) => sides.set(name, [...(sides.get(name) || []), faces.length]));
    faces.push({ normal: normal.normalize(), thin: twice < 0.6 * longest, across: names[lengths.indexOf(longest)] });
  }
  for (let round = 0; round < 4; round++) faces.forEach((face, i) => {
    if (!face.thin) return;
    const other = faces[sides.get(face.across).find((one) => one !== i)];
    if (other) face.normal = other.normal;
  });
  const out = [];
  for (const [name, [one, two]] of sides) {
    if (two === undefined || one === two || Math.abs(faces[one].normal.dot(faces[two].normal)) > 0.883) continue;
    for (const i of name.split(",")) out.push(at.getX(i), at.getY(i), at.getZ(i));
  }
  return new THREE.BufferGeometry().setAttribute("position", new THREE.BufferAttribute(new Float32Array(out), 3));
}
function capOf(geometry, x) {
  const at = geometry.getAttribute("position");
  const index = geometry.getIndex();
  const ends = new Map();  // start point -> end point, both as text keys
  const spots = new Map();
  const key = (p) => `${Math.round(p[0] * 50)},${Math.round(p[1] * 50)}`;
  for (let i = 0; i < index.count; i += 3) {
    const tri = [0, 1, 2].map((k) => new THREE.Vector3().fromBufferAttribute(at, index.getX(i + k)));
    const hit = [];
    for (let k = 0; k < 3; k++) {
      const [p, q] = [tri[k], tri[(k + 1) % 3]];
      if (p.x >= x !== q.x >= x) {
        const t = (x - p.x) / (q.x - p.x);
        hit.push({ spot: [p.y + t * (q.y - p.y), p.z + t * (q.z - p.z)], rising: q.x >= x });
      }
    }
    if (hit.length !== 2) continue;
    const [one, two] = hit[0].rising ? hit : [hit[1], hit[0]];
    const [a, b] = [key(one.spot), key(two.spot)];
    if (a === b) continue;
    spots.set(a, one.spot).set(b, two.spot);
    ends.set(a, [...(ends.get(a) || []), b]);
  }
  return fillLoops(loopsOf(ends), spots, x);
}
function loopsOf(ends) {
  const both = new Map();  // plates' boxes are not wound alike, so follow edges either way
  const join = (a, b) => both.set(a, [...(both.get(a) || []), b]);
  for (const [a, list] of ends) for (const b of list) { join(a, b); join(b, a); }
  const loops = [];
  while (both.size) {
    const start = both.keys().next().value;
    const loop = [];
    let here = start;
    while (here !== undefined && both.has(here)) {
      loop.push(here);
      const next = both.get(here).pop();
      if (!both.get(here).length) both.delete(here);
      const back = both.get(next);
      if (back) {
        const i = back.indexOf(here);
        if (i >= 0) back.splice(i, 1);
        if (!back.length) both.delete(next);
      }
      here = next === start ? undefined : next;
    }
    if (loop.length > 2) loops.push(loop);
  }
  return loops;
}
function fillLoops(loops, spots, x) {
  const made = new THREE.BufferGeometry();
  const at = [], index = [];
  for (const loop of loops) {
    const contour = loop.map((one) => new THREE.Vector2(...spots.get(one)));
    const base = at.length / 3;
    for (const p of contour) at.push(x, p.x, p.y);
    const turned = THREE.ShapeUtils.isClockWise(contour);
    const order = turned ? contour.map((_, i) => contour.length - 1 - i) : contour.map((_, i) => i);
    for (const face of THREE.ShapeUtils.triangulateShape(order.map((i) => contour[i]), [])) {
      index.push(...face.map((i) => base + order[i]));
    }
  }
  made.setAttribute("position", new THREE.BufferAttribute(new Float32Array(at), 3));
  made.setAttribute("face", new THREE.BufferAttribute(new Float32Array((at.length / 3) * 2), 2));
  made.setIndex(index);
  return made;
}
