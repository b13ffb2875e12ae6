// The picture: pieces that move, the blade, the bed, the section, and what is touched.
class Picture {
  constructor(canvas) {
    this.canvas = canvas;
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.setPixelRatio(Math.min(devicePixelRatio || 1, 2));
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(24, 1, 10, 200000);
    this.camera.up.set(0, 0, 1);
    this.controls = new OrbitControls(this.camera, canvas);
    this.controls.addEventListener("change", () => this.paint());
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0xcfc4b2, 2.0));
    this.sun = new THREE.DirectionalLight(0xffffff, 1.7);
    this.scene.add(this.sun);
    this.root = new THREE.Group();  // holds the log frame; turned as the setting poses it
    this.scene.add(this.root);
    this.points = unpack(data.points, Uint16Array);
    this.faces = unpack(data.faces, Uint16Array);
    this.items = new Map();
    this.section = { value: -1e9 };
    this.makeWood();
    this.makePith();
    this.makeTwelve();
    this.makeBlade();
    this.drawn = new THREE.Group();  // lines on the ends, with their numbers
    this.root.add(this.drawn);
    this.bed = new THREE.Group();
    this.scene.add(this.bed);
    this.lookFrom = "corner";
    this.caster = new THREE.Raycaster();
    this.waiting = false;
    this.listen();
  }

  makeWood() {
    const { radius, clocks, stations, pith, widest } = data.wood;
    const rows = unpack(radius, Float32Array);
    const half = new Uint16Array(clocks * stations * 4);
    const put = THREE.DataUtils.toHalfFloat;
    for (let i = 0; i < stations; i++) for (let k = 0; k < clocks; k++) {
      const at = (i * clocks + k) * 4;
      half[at] = put(rows[i * clocks + k] / widest);
      half[at + 1] = put(pith[i][0] / widest);
      half[at + 2] = put(pith[i][1] / widest);
      half[at + 3] = put(1);
    }
    this.wood = new THREE.DataTexture(half, clocks, stations, THREE.RGBAFormat, THREE.HalfFloatType);
    this.wood.wrapS = THREE.RepeatWrapping;
    this.wood.magFilter = this.wood.minFilter = THREE.LinearFilter;
    this.wood.needsUpdate = true;
  }

  material(flat) {
    const { x0, x1, widest, stations, sapwood } = data.wood;
    const own = {
      uWood: { value: this.wood }, uSpan: { value: new THREE.Vector4(x0, x1, widest, stations) }, uSection: this.section,
      uSapwood: { value: sapwood }, uOwn: { value: new THREE.Color() }, uOwned: { value: 0 }, uPattern: { value: 0 },
      uPicked: { value: 0 }, uFade: { value: 1 },
    };
    const made = new THREE.MeshLambertMaterial({ flatShading: flat, side: THREE.DoubleSide });
    made.userData.own = own;
    made.onBeforeCompile = (shader) => {
      Object.assign(shader.uniforms, own);
      shader.vertexShader = WOOD_VERTEX + shader.vertexShader.replace(
        "#include <begin_vertex>", "#include <begin_vertex>\nvLog = position; vFace = face;");
      shader.fragmentShader = WOOD_FRAGMENT + shader.fragmentShader.replace("#include <color_fragment>", WOOD_COLOUR);
    };
    made.customProgramCacheKey = () => "pithline-wood";
    return made;
  }

  geometryOf(id) {
    const plate = pieceOf.get(id).plate;
    if (plate) return boxOf(plate);
    const made = new THREE.BufferGeometry();
    const [first, count, face, faces] = data.meshes[id];
    const at = new Float32Array(count * 3);
    for (let i = 0; i < count * 3; i++) {
      at[i] = data.box.low[i % 3] + (this.points[first * 3 + i] / 65535) * data.box.size[i % 3];
    }
    made.setAttribute("position", new THREE.BufferAttribute(at, 3));
    made.setAttribute("face", new THREE.BufferAttribute(new Float32Array(count * 2), 2));
    made.setIndex(new THREE.BufferAttribute(this.faces.slice(face * 3, (face + faces) * 3), 1));
    return made;
  }

  item(id) {
    if (this.items.has(id)) return this.items.get(id);
    const group = new THREE.Group();
    const mesh = new THREE.Mesh(this.geometryOf(id), this.material(true));
    mesh.userData.piece = id;
    const ink = new THREE.LineBasicMaterial({ color: 0x2a2018, transparent: true, opacity: 0.55 });
    const line = new THREE.LineSegments(edgesOf(mesh.geometry), ink);
    this.clipLine(ink);
    const cap = new THREE.Mesh(new THREE.BufferGeometry(), mesh.material);
    cap.userData.piece = id;
    group.add(mesh, line, cap);
    this.root.add(group);
    const made = { id, group, mesh, line, cap, goal: new THREE.Vector3(), cut: null };
    this.items.set(id, made);
    return made;
  }

  clipLine(material) {
    material.onBeforeCompile = (shader) => {
      shader.uniforms.uSection = this.section;
      shader.vertexShader = "centroid varying float vX;\n" + shader.vertexShader.replace("#include <begin_vertex>", "#include <begin_vertex>\nvX = position.x;");
      shader.fragmentShader = "centroid varying float vX; uniform float uSection;\n" + shader.fragmentShader.replace(
        "#include <color_fragment>", "#include <color_fragment>\nif (vX < uSection - 0.5) discard;");
    };
    material.customProgramCacheKey = () => "pithline-line";
  }

  makePith() {
    const { x0, x1, pith } = data.wood;
    const at = pith.map(([y, z], i) => new THREE.Vector3(x0 + ((x1 - x0) * i) / (pith.length - 1), y, z));
    const step = (x1 - x0) / (pith.length - 1);
    at.unshift(at[0].clone().addScaledVector(at[1].clone().sub(at[0]), 60 / step));
    at[0].x = x0 - 60;
    at.push(at.at(-1).clone().setX(x1 + 60));
    const ink = new THREE.LineDashedMaterial({ color: 0xb03a1e, dashSize: 30, gapSize: 14, depthTest: false });
    this.pith = new THREE.Line(new THREE.BufferGeometry().setFromPoints(at), ink);
    this.pith.computeLineDistances();
    this.pith.renderOrder = 5;
    this.root.add(this.pith);
  }

  makeTwelve() {  // the plumb line through the pith, carried along the bark
    const ink = new THREE.LineBasicMaterial({ color: 0xfffdf8 });
    const shade = new THREE.LineBasicMaterial({ color: 0x16306e });
    this.twelve = new Map(Object.keys(data.twelve).map((own) => [own, this.twelveOf(data.twelve[own].map(vector), ink, shade)]));
    for (const one of this.twelve.values()) this.root.add(one);
  }

  twelveOf(points, ink, shade) {
    const made = new THREE.Group();
    const reach = data.wood.widest;
    for (const [material, off] of [[shade, 0], [ink, 1.2]]) {
      const moved = points.map((p) => p.clone().add(new THREE.Vector3(0, off, off)));
      made.add(new THREE.Line(new THREE.BufferGeometry().setFromPoints(moved), material));
    }
    const [foot, top] = [points[0], points[1]];
    const away = top.clone().sub(foot).normalize();
    made.add(this.label("12", top.clone().addScaledVector(away, 0.1 * reach), 0.13 * reach));
    return made;
  }

  label(text, at, size) {  // a number that faces the one who looks
    const board = document.createElement("canvas");
    const context = board.getContext("2d");
    const font = "bold 48px system-ui, sans-serif";
    context.font = font;
    board.width = Math.ceil(context.measureText(text).width) + 16;
    board.height = 60;
    context.font = font;
    context.fillStyle = "rgba(255,253,248,.88)";
    context.fillRect(0, 0, board.width, board.height);
    context.fillStyle = "#16306e";
    context.textBaseline = "middle";
    context.fillText(text, 8, 32);
    const texture = new THREE.CanvasTexture(board);
    texture.colorSpace = THREE.SRGBColorSpace;
    const made = new THREE.Sprite(new THREE.SpriteMaterial({ map: texture }));
    made.position.copy(at);
    made.scale.set((size * board.width) / board.height, size, 1);
    return made;
  }

  drawLines(setting) {  // those of the setting; before the first cut every line of all
    this.drawn.clear();
    const whole = state.step === 0 && !operations.some((one) => one.tool === "buck");  // on a crosscut log they come later
    const all = setting ? setting.drawn : whole ? operations.flatMap((one) => one.drawn || []) : [];
    const ink = new THREE.LineBasicMaterial({ color: 0x16306e });
    for (const line of all) {
      const points = line.parts.flatMap((part) => part.map(vector));
      this.drawn.add(new THREE.LineSegments(new THREE.BufferGeometry().setFromPoints(points), ink));
      this.drawn.add(this.label(line.name, vector(line.at), (all.length > 24 ? 0.09 : 0.13) * data.wood.widest));
    }
    this.drawn.visible = state.section === null && !state.glass;
    const log = !setting || pieceOf.get(setting.piece).kind === "log";
    const shown = log && (state.where === "saw" || state.step === 0) ? setting?.own || "log" : "";
    for (const [own, line] of this.twelve) line.visible = own === shown;
  }

  makeBlade() {
    this.blade = new THREE.Group();
    const skin = new THREE.MeshBasicMaterial({ color: 0xb03a1e, transparent: true, opacity: 0.2, side: THREE.DoubleSide, depthWrite: false });
    this.sheet = new THREE.Mesh(new THREE.BoxGeometry(1, 1, 1), skin);
    this.rim = new THREE.LineSegments(new THREE.EdgesGeometry(this.sheet.geometry), new THREE.LineBasicMaterial({ color: 0xb03a1e }));
    this.blade.add(this.sheet, this.rim);
    this.root.add(this.blade);
  }

  // -- arranging ------------------------------------------------------------------------------------------------
  pose() {
    const setting = operations[settingAt[state.step - 1]];
    const turn = new THREE.Matrix4();
    if (state.where === "log" || !setting) return { turn: new THREE.Quaternion(), shift: new THREE.Vector3(), setting: null };
    const [a, b, c] = setting.pose.rows;
    turn.set(...a, 0, ...b, 0, ...c, 0, 0, 0, 0, 1);
    return { turn: new THREE.Quaternion().setFromRotationMatrix(turn), shift: vector(setting.pose.shift), setting };
  }

  shiftOf(id, setting) {
    const shift = new THREE.Vector3();
    const reach = data.wood.widest;
    if (state.where === "log" || !setting) {
      const gaps = { mill: 0.9, buck: 0.9, rip: 0.4, crosscut: 0.25, resaw: 0.09 };
      for (let one = madeBy.get(id); one; one = madeBy.get(one.parent)) {
        shift.addScaledVector(vector(one.cut.normal), one.side * gaps[one.cut.tool] * 0.5 * reach * state.spread);
      }
      return shift;
    }
    const done = operations.slice(0, state.step).filter((one) => one.op === "cut" && one.setting === setting.id);
    const gap = { mill: 0.7, buck: 0.6, rip: 0.5, crosscut: 0.4, resaw: 0.25 }[setting.tool] * reach * state.spread;
    for (let one = madeBy.get(id); one && one.cut.setting === setting.id; one = madeBy.get(one.parent)) {
      if (one.side > 0) shift.addScaledVector(vector(one.cut.normal), gap * (done.length - done.indexOf(one.cut)));
    }
    return shift;
  }

  arrange(shown, moved) {
    const { turn, shift, setting } = this.pose();
    const wanted = new Set(shown);
    for (const item of this.items.values()) if (!wanted.has(item.id)) item.group.visible = false;
    this.shown = shown.map((id) => {
      const item = this.item(id);
      const parent = this.items.get(madeBy.get(id)?.parent);
      if (!item.group.visible || !item.placed) item.group.position.copy(parent?.placed ? parent.group.position : this.shiftOf(id, setting));
      item.group.visible = item.placed = true;
      item.goal.copy(this.shiftOf(id, setting));
      return item;
    });
    this.inside(shown);
    this.pith.visible = !setting || setting.tool === "mill" || setting.tool === "buck";
    this.placeBlade(setting);
    this.drawLines(setting);
    const key = setting ? setting.id : state.where;
    if (key !== this.key) {  // another machine: no sense in flying there
      this.key = key;
      this.root.quaternion.copy(turn);
      this.root.position.copy(shift);
      for (const item of this.shown) item.group.position.copy(item.goal);
      this.makeBed(setting);
      this.look(this.lookFrom);
    }
    this.caps();
    this.move(moved && !calm);
  }

  inside(shown) {  // plates still within their piece, seen through it
    for (const item of this.ghosts || []) item.group.visible = false;
    this.ghosts = [];
    if (!state.glass) return;
    const live = new Set(shown);
    for (const one of plates) {
      if (live.has(one.id)) continue;
      const holder = shown.find((id) => descends(one.id, id));
      if (!holder) continue;
      const item = this.item(one.id);
      item.group.visible = item.placed = true;
      item.goal.copy(this.items.get(holder).goal);
      item.group.position.copy(item.goal);
      this.ghosts.push(item);
    }
  }

  placeBlade(setting) {
    const cut = operations[state.step - 1];
    this.blade.visible = cut?.op === "cut";
    if (!this.blade.visible) return;
    const n = vector(cut.normal);
    const along = Math.abs(n.x) < 0.7 ? new THREE.Vector3(1, 0, 0) : new THREE.Vector3(0, 0, 1);
    along.addScaledVector(n, -along.dot(n)).normalize();
    const side = new THREE.Vector3().crossVectors(n, along);
    const from = this.item(cut.piece);
    if (!this.shown.includes(from)) from.group.visible = false;
    const at = from.mesh.geometry.getAttribute("position");
    const low = [1e9, 1e9], high = [-1e9, -1e9];
    for (let i = 0; i < at.count; i++) {
      const p = new THREE.Vector3().fromBufferAttribute(at, i);
      [p.dot(along), p.dot(side)].forEach((v, k) => { low[k] = Math.min(low[k], v); high[k] = Math.max(high[k], v); });
    }
    const grow = 0.12 * data.wood.widest;
    this.blade.quaternion.setFromRotationMatrix(new THREE.Matrix4().makeBasis(along, side, n));
    for (const one of [this.sheet, this.rim]) one.scale.set(high[0] - low[0] + grow, high[1] - low[1] + 2 * grow, cut.kerf);
    this.blade.position.set(0, 0, 0).addScaledVector(n, cut.offset)
      .addScaledVector(along, (low[0] + high[0]) / 2).addScaledVector(side, (low[1] + high[1]) / 2);
    const above = this.items.get(cut.above), below = this.items.get(cut.below);
    const rest = (below || above)?.goal;
    if (rest) this.blade.position.add(rest);
    if (state.where === "log" && above && below) this.blade.position.addScaledVector(above.goal.clone().sub(below.goal), 0.5);
  }

  makeBed(setting) {
    this.bed.clear();
    if (!setting || state.where === "log") return;
    const reach = data.wood.widest;
    const block = (x, y, z, w, d, h, colour) => {
      const one = new THREE.Mesh(new THREE.BoxGeometry(w, d, h), new THREE.MeshLambertMaterial({ color: colour }));
      const line = new THREE.LineSegments(new THREE.EdgesGeometry(one.geometry), new THREE.LineBasicMaterial({ color: 0x39414a }));
      one.position.set(x, y, z);
      one.add(line);
      this.bed.add(one);
    };
    const colours = { chock: 0x9c7b52, block: 0x9c7b52, cradle: 0xc9a36a, stop: 0x6d7881, fence: 0x6d7881 };
    for (const { kind, outline, spans } of setting.props) for (const [from, to] of spans) {
      const shape = new THREE.Shape(outline.map(([y, z]) => new THREE.Vector2(y, z)));
      const solid = new THREE.ExtrudeGeometry(shape, { depth: to - from, bevelEnabled: false });
      // the shape's x, y and its depth become the machine's left, up and along
      solid.applyMatrix4(new THREE.Matrix4().makeBasis(new THREE.Vector3(0, 1, 0), new THREE.Vector3(0, 0, 1), new THREE.Vector3(1, 0, 0)));
      const one = new THREE.Mesh(solid, new THREE.MeshLambertMaterial({ color: colours[kind], side: THREE.DoubleSide }));
      one.add(new THREE.LineSegments(new THREE.EdgesGeometry(solid), new THREE.LineBasicMaterial({ color: 0x39414a })));
      one.position.x = from;
      this.bed.add(one);
    }
    if (setting.tool !== "mill" || !data.bunks.length) {
      const box = this.boxOfShown();
      const size = box.getSize(new THREE.Vector3());
      const middle = box.getCenter(new THREE.Vector3());
      block(middle.x, middle.y, -12, size.x + 0.3 * reach, size.y + 0.8 * reach, 24, 0xaab4bb);
      return;
    }
    const [first, last] = [Math.min(...data.bunks), Math.max(...data.bunks)];
    for (const y of [-0.75, 0.75]) block((first + last) / 2, y * reach, -110, last - first + 400, 60, 100, 0x8b98a2);
    for (const x of data.bunks) block(x, 0, -30, 90, 2.1 * reach, 60, 0xaab4bb);
    for (const { bunk, lift } of setting.lifts) if (lift > 0) block(bunk, 0, lift / 2, 70, 0.7 * reach, lift, 0xd0954a);
  }

  boxOfShown() {
    this.root.updateMatrixWorld(true);
    const box = new THREE.Box3();
    for (const item of this.shown) {
      const one = new THREE.Box3().setFromBufferAttribute(item.mesh.geometry.getAttribute("position")).translate(item.goal);
      box.union(one.applyMatrix4(this.root.matrixWorld));
    }
    return box;
  }

  look(from) {
    this.lookFrom = from;
    const box = this.boxOfShown();
    const middle = box.getCenter(new THREE.Vector3());
    const size = box.getSize(new THREE.Vector3());
    const ways = { corner: [-0.72, -0.62, 0.42], pith: [-1, 0, 0.0001], side: [0, -1, 0.08] };
    const way = vector(ways[from]).normalize();
    const right = new THREE.Vector3(0, 0, 1).cross(way).normalize();
    const up = way.clone().cross(right);
    const spanOf = (axis) => Math.abs(axis.x) * size.x + Math.abs(axis.y) * size.y + Math.abs(axis.z) * size.z;
    this.camera.fov = from === "pith" ? 5 : 24;  // nearly parallel, to see the growth layers end on
    const fit = Math.tan((this.camera.fov * Math.PI) / 360);
    const distance = Math.max(spanOf(right) / this.camera.aspect, spanOf(up)) / 2 / fit * (from === "pith" ? 1.3 : 1.12) + spanOf(way) / 2;
    this.controls.target.copy(middle);
    this.camera.position.copy(middle).addScaledVector(way, distance);
    this.camera.near = distance / 50;
    this.camera.far = distance * 12;
    this.camera.updateProjectionMatrix();
    this.controls.update();
    this.paint();
  }

  // -- the section ----------------------------------------------------------------------------------------------
  caps() {
    this.section.value = state.section ?? -1e9;
    for (const item of [...this.shown, ...this.ghosts]) {
      item.cap.visible = state.section !== null;
      if (item.cut === state.section || state.section === null) continue;
      item.cut = state.section;
      item.cap.geometry.dispose();
      item.cap.geometry = capOf(item.mesh.geometry, state.section);
    }
  }

  // -- drawing --------------------------------------------------------------------------------------------------
  move(gently) {
    cancelAnimationFrame(this.moving);
    const start = performance.now();
    const from = this.shown.map((item) => item.group.position.clone());
    const tick = (now) => {
      const t = gently ? Math.min(1, Math.max(0, (now - start) / 380)) : 1;
      const eased = t * t * (3 - 2 * t);
      this.shown.forEach((item, i) => item.group.position.lerpVectors(from[i], item.goal, eased));
      this.paint();
      document.body.dataset.still = t >= 1;
      if (t < 1) this.moving = requestAnimationFrame(tick);
    };
    document.body.dataset.still = false;
    if (gently) this.moving = requestAnimationFrame(tick);
    else tick(start);
  }

  dress(item, ghost) {
    const own = item.mesh.material.userData.own;
    const plate = pieceOf.get(item.id).plate;
    const kind = plate ? classOf(plate) : -1;
    const entry = kind >= 0 ? classes()[kind] : null;
    own.uOwned.value = entry ? 1 : 0;
    if (entry) own.uOwn.value.set(entry.colour).convertLinearToSRGB();
    own.uPattern.value = entry ? entry.pattern : 0;
    const picked = item.id === state.picked;
    own.uPicked.value = picked ? 1 : 0;
    item.line.material.color.set(picked ? 0xe07b00 : 0x2a2018);
    item.line.material.opacity = picked ? 1 : 0.55;
    item.line.material.depthTest = !picked;  // seen through what lies before it
    item.line.renderOrder = picked ? 6 : 0;
    const fade = state.glass && !plate && !ghost ? 0.16 : 1;
    own.uFade.value = fade;
    const material = item.mesh.material;
    if (material.transparent !== fade < 1) {
      material.transparent = fade < 1;
      material.depthWrite = fade === 1;
      material.needsUpdate = true;
    }
    item.mesh.renderOrder = fade < 1 ? 2 : 0;
  }

  paint() {
    if (this.waiting || !this.shown) return;
    this.waiting = true;
    requestAnimationFrame(() => {
      this.waiting = false;
      for (const item of this.shown) this.dress(item, false);
      for (const item of this.ghosts) this.dress(item, true);
      this.sun.position.copy(this.camera.position).sub(this.controls.target).add(new THREE.Vector3(0, 0, this.camera.position.length() * 0.5));
      this.renderer.render(this.scene, this.camera);
      document.body.dataset.drawn = "yes";
    });
  }

  fit() {
    const { clientWidth: w, clientHeight: h } = this.canvas;
    this.renderer.setSize(w, h, false);
    this.camera.aspect = w / Math.max(h, 1);
    this.camera.updateProjectionMatrix();
    if (this.shown) this.look(this.lookFrom);
  }

  // -- touching -------------------------------------------------------------------------------------------------
  listen() {
    let down = null;
    this.canvas.addEventListener("pointerdown", (event) => { down = [event.clientX, event.clientY]; });
    this.canvas.addEventListener("pointerup", (event) => {
      if (down && Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 8) pick(this.pieceAt(event.clientX, event.clientY));
      down = null;
    });
    new ResizeObserver(() => this.fit()).observe(this.canvas);
  }

  pieceAt(x, y) {
    this.upToDate();
    const frame = this.canvas.getBoundingClientRect();
    const at = new THREE.Vector2(((x - frame.left) / frame.width) * 2 - 1, 1 - ((y - frame.top) / frame.height) * 2);
    this.caster.setFromCamera(at, this.camera);
    const solid = state.glass ? [...this.ghosts, ...this.shown.filter((item) => pieceOf.get(item.id).plate)] : this.shown;
    const targets = solid.flatMap((item) => (item.cap.visible ? [item.mesh, item.cap] : [item.mesh]));
    const hits = this.caster.intersectObjects(targets, false);
    const real = hits.find((hit) => hit.object.worldToLocal(hit.point.clone()).x >= this.section.value - 0.5);
    return real ? real.object.userData.piece : null;
  }

  upToDate() {  // as it will be drawn next
    this.camera.updateMatrixWorld();
    this.root.updateMatrixWorld(true);
  }

  screenOf(id) {  // page coordinates of the middle of a piece
    this.upToDate();
    const item = this.items.get(id);
    const box = new THREE.Box3().setFromBufferAttribute(item.mesh.geometry.getAttribute("position"));
    const at = item.group.localToWorld(box.getCenter(new THREE.Vector3())).project(this.camera);
    const frame = this.canvas.getBoundingClientRect();
    return [frame.left + ((at.x + 1) / 2) * frame.width, frame.top + ((1 - at.y) / 2) * frame.height];
  }
}
