// The map: layers to switch, zoom, pan, names where there is room, a card for what is chosen.
// It reads no text from the plan but through textContent and the templates of the page.
(() => {
  "use strict";
  const byId = (id) => document.getElementById(id);
  const data = JSON.parse(byId("map-data").textContent);
  const chart = byId("chart"), world = byId("world"), names = byId("names");
  const map = byId("map"), card = byId("card");
  const reduced = matchMedia("(prefers-reduced-motion: reduce)");
  const SVG = "http://www.w3.org/2000/svg";
  const MOST = 24, STEP = 1.5, SLACK = 4;
  const view = { k: 1, x: 0, y: 0 };
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
  const shrunk = () => (chart.clientWidth < 480 ? 0.85 : 1);
  let width = chart.clientWidth || 690, waiting = 0;

  // --- Zoom and pan ---------------------------------------------------------------------------

  const metresPerPixel = () => data.width / width / view.k;

  function show() {
    view.k = clamp(view.k, 1, MOST);
    view.x = clamp(view.x, data.width * (1 - view.k), 0);
    view.y = clamp(view.y, data.height * (1 - view.k), 0);
    world.style.transform = `translate(${view.x}px, ${view.y}px) scale(${view.k})`;
    chart.style.setProperty("--px", metresPerPixel() * shrunk());
    chart.classList.toggle("zoomed", view.k > 1.001);
    byId("zoom-in").disabled = view.k >= MOST;
    byId("zoom-out").disabled = byId("zoom-all").disabled = view.k <= 1.001;
    byId("hatch").setAttribute("patternTransform", `scale(${metresPerPixel()}) rotate(45)`);
    scaleBar(metresPerPixel());
    nameSoon();
  }

  function zoom(factor, x = data.width / 2, y = data.height / 2) {
    const k = clamp(view.k * factor, 1, MOST), by = k / view.k;
    view.x = x - (x - view.x) * by;
    view.y = y - (y - view.y) * by;
    view.k = k;
    show();
  }

  function pan(x, y) { view.x += x; view.y += y; show(); }

  function all() { Object.assign(view, { k: 1, x: 0, y: 0 }); show(); }

  // From the screen to the drawing's frame, before zoom.
  function onFrame(event) {
    const box = chart.getBoundingClientRect();
    return [
      (event.clientX - box.left) / box.width * data.width,
      (event.clientY - box.top) / box.height * data.height,
    ];
  }

  function scaleBar(perPixel) {
    const most = Math.min(130, 0.28 * width) * perPixel / data.unit, power = 10 ** Math.floor(Math.log10(most));
    const far = data.far.units;
    let units = [5, 2, 1].map((step) => step * power).find((value) => value <= most);
    let text = `${units} ${data.sign}`;
    if (most >= far) {
      const whole = most / far, tens = 10 ** Math.floor(Math.log10(whole));
      const count = [5, 2, 1].map((step) => step * tens).find((value) => value <= whole);
      units = count * far;
      text = `${count} ${data.far.sign}`;
    }
    // As a share of the map, so that the bar stays true when the page is laid out anew.
    const line = byId("bar-line");
    line.style.width = `${units * data.unit / perPixel}px`;
    line.dataset.metres = units * data.unit;
    byId("bar-text").textContent = text;
  }

  const fingers = new Map();
  let moved = 0, spread = 0;

  chart.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    if (!fingers.size) moved = 0;
    fingers.set(event.pointerId, onFrame(event));
    spread = 0;
  });
  chart.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const now = onFrame(event);
    if (fingers.size === 2) {
      fingers.set(event.pointerId, now);
      const [a, b] = [...fingers.values()];
      const apart = Math.hypot(a[0] - b[0], a[1] - b[1]);
      const middle = [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2];
      if (spread) {
        pan((now[0] - before[0]) / 2, (now[1] - before[1]) / 2);
        zoom(apart / spread, ...middle);
      }
      spread = apart;
      moved = SLACK + 1;
      return;
    }
    moved += Math.hypot(now[0] - before[0], now[1] - before[1]) / metresPerPixel() / view.k;
    if (moved > SLACK && view.k > 1.001) {
      chart.setPointerCapture(event.pointerId);
      chart.classList.add("moving");
      pan(now[0] - before[0], now[1] - before[1]);
    }
    fingers.set(event.pointerId, now);
  });
  for (const kind of ["pointerup", "pointercancel", "lostpointercapture"]) {
    chart.addEventListener(kind, (event) => {
      fingers.delete(event.pointerId);
      spread = 0;
      if (!fingers.size) chart.classList.remove("moving");
    });
  }
  chart.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && !chart.contains(document.activeElement)) return;
    if (!event.ctrlKey && event.deltaY > 0 && view.k <= 1.001) return;
    event.preventDefault();
    zoom(Math.exp(-clamp(event.deltaY, -300, 300) * 0.003), ...onFrame(event));
  }, { passive: false });
  byId("zoom-in").addEventListener("click", () => zoom(STEP));
  byId("zoom-out").addEventListener("click", () => zoom(1 / STEP));
  byId("zoom-all").addEventListener("click", all);

  // --- What is chosen -------------------------------------------------------------------------

  const items = [...chart.querySelectorAll(".item")];
  let picked = null;

  function pick(item) {
    const card_of = byId(`card-${item.id}`);
    if (!card_of) return;
    if (picked) picked.classList.remove("picked");
    picked = item;
    item.classList.add("picked");
    byId("card-body").replaceChildren(card_of.content.cloneNode(true));
    card.querySelector(".hint").hidden = true;
    card.querySelector(".shown").hidden = false;
  }

  function unpick() {
    if (!picked) return;
    picked.classList.remove("picked");
    picked = null;
    byId("card-body").replaceChildren();
    card.querySelector(".hint").hidden = false;
    card.querySelector(".shown").hidden = true;
  }

  // Of each group one item at a time is in the tab order: the one that was chosen last.
  function rove(item) {
    for (const other of item.parentNode.children) other.setAttribute("tabindex", "-1");
    item.setAttribute("tabindex", "0");
  }

  function bringIntoView(item) {
    const outer = chart.getBoundingClientRect(), inner = item.getBoundingClientRect();
    const x = inner.left + inner.width / 2 - outer.left, y = inner.top + inner.height / 2 - outer.top;
    const edge = 24;
    if (x > edge && x < outer.width - edge && y > edge && y < outer.height - edge) return;
    const per = data.width / outer.width;
    pan((outer.width / 2 - x) * per, (outer.height / 2 - y) * per);
  }

  for (const item of items) {
    item.addEventListener("focus", () => {
      rove(item);
      // A press on the map may be the start of a drag: the click that may follow tells.
      if (fingers.size) return;
      pick(item);
      bringIntoView(item);
    });
    item.addEventListener("click", () => {
      if (moved > SLACK) return;
      item.focus({ preventScroll: true });
      rove(item);
      pick(item);
    });
  }
  byId("card-close").addEventListener("click", () => {
    const back = picked;
    unpick();
    if (back) chart.focus({ preventScroll: true });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") unpick();
  });

  chart.addEventListener("keydown", (event) => {
    if (event.altKey || event.ctrlKey || event.metaKey) return;
    const item = event.target.closest(".item");
    const keys = { "+": STEP, "=": STEP, "-": 1 / STEP, "_": 1 / STEP };
    if (event.key in keys) zoom(keys[event.key]);
    else if (event.key === "0") all();
    else if (item) { if (!along(item, event.key)) return; }
    else if (event.key.startsWith("Arrow")) {
      const step = data.width * 0.12;
      pan(
        { ArrowLeft: step, ArrowRight: -step }[event.key] || 0,
        { ArrowUp: step, ArrowDown: -step }[event.key] || 0,
      );
    } else return;
    event.preventDefault();
  });

  function along(item, key) {
    const row = [...item.parentNode.children], here = row.indexOf(item);
    const next = {
      ArrowRight: here + 1, ArrowDown: here + 1, ArrowLeft: here - 1, ArrowUp: here - 1,
      Home: 0, End: row.length - 1, Enter: here, " ": here,
    }[key];
    if (next === undefined) return false;
    const target = row[(next + row.length) % row.length];
    target.focus({ preventScroll: true });
    pick(target);
    return true;
  }

  for (const link of document.querySelectorAll("[data-show]")) {
    link.addEventListener("click", (event) => {
      const item = byId(link.dataset.show);
      if (!item) return;
      event.preventDefault();
      map.scrollIntoView({ behavior: reduced.matches ? "auto" : "smooth", block: "start" });
      item.focus({ preventScroll: true });
      pick(item);
    });
  }

  // --- Layers ---------------------------------------------------------------------------------

  for (const box of document.querySelectorAll("[data-switch]")) {
    const layer = chart.querySelector(`[data-layer="${box.dataset.switch}"]`);
    const apply = () => { if (layer) layer.classList.toggle("off", !box.checked); nameSoon(); };
    box.addEventListener("change", apply);
    apply();
  }

  // --- Names: each where it fits at this zoom, the most important first ------------------------

  const SIZES = { source: [12.5], paddock: [12, 10.5], pipe: [10], contour: [9] };
  const texts = [];

  function lines(text) {
    const middle = text.length / 2;
    const gaps = [...text].map((sign, at) => (sign === " " ? at : -1)).filter((at) => at > 0);
    if (!gaps.length || text.length < 9) return [[text]];
    const gap = gaps.reduce((a, b) => (Math.abs(b - middle) < Math.abs(a - middle) ? b : a));
    return [[text], [text.slice(0, gap), text.slice(gap + 1)]];
  }

  function write(label, rows, size) {
    const text = document.createElementNS(SVG, "text");
    text.setAttribute("class", label.kind === "pipe" ? "pipe-name" : label.kind);
    text.setAttribute("font-size", size);
    rows.forEach((row, number) => {
      const line = document.createElementNS(SVG, "tspan");
      line.setAttribute("x", 0);
      line.setAttribute("y", (0.35 + (number - (rows.length - 1) / 2) * 1.15) * size);
      line.textContent = row;
      text.append(line);
    });
    text.style.display = "none";
    names.append(text);
    return text;
  }

  // Every way a label may be written, in the order to try; measured once, in pixels.
  for (const label of data.labels) {
    const ways = [];
    for (const size of SIZES[label.kind]) {
      for (const text of label.texts) {
        for (const rows of label.kind === "paddock" ? lines(text) : [[text]]) {
          ways.push({ rows, size });
        }
      }
    }
    texts.push({ label, ways, shape: label.of ? byId(label.of).querySelector("path") : null });
  }

  function measure(entry, way) {
    if (!way.text) {
      way.text = write(entry.label, way.rows, way.size);
      way.text.style.display = "";
      const widths = [...way.text.children].map((line) => line.getComputedTextLength());
      way.width = Math.max(...widths) + 4;
      way.height = way.rows.length * way.size * 1.15 + 2;
      way.text.style.display = "none";
    }
    return way;
  }

  // Points along the pipe, so that no name is written across it where that can be helped.
  const run = [];
  for (const path of chart.querySelectorAll("#world .pipe .line")) {
    const points = (path.getAttribute("d").match(/-?[\d.]+ -?[\d.]+/g) || []).map((pair) => pair.split(" ").map(Number));
    for (let i = 1; i < points.length; i += 1) {
      const [a, b] = [points[i - 1], points[i]];
      const count = Math.max(1, Math.ceil(Math.hypot(b[0] - a[0], b[1] - a[1]) / (data.width / 500)));
      for (let j = 0; j <= count; j += 1) {
        run.push([a[0] + (b[0] - a[0]) * j / count, a[1] + (b[1] - a[1]) * j / count]);
      }
    }
  }
  const symbols = [
    ...[...chart.querySelectorAll(".outlet.item")].map((node) => [node, 11]),
    ...[...chart.querySelectorAll("[data-layer=source] .mark")].map((node) => [node, 9]),
    ...[...chart.querySelectorAll("[data-layer=levels] .mark")].map((node) => [node, 8]),
    ...[...chart.querySelectorAll("[data-layer=fittings] .mark")].map((node) => [node, 6]),
  ].map(([node, radius]) => {
    const use = node.querySelector("use");
    const [x, y] = node.getAttribute("transform").match(/-?[\d.]+/g).map(Number);
    return {
      x, y, radius, layer: node.closest(".layer"),
      aside: use && use.hasAttribute("x") ? [Number(use.getAttribute("x")), Number(use.getAttribute("y") || 0)] : [0, 0],
    };
  });

  const hits = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  const boxAt = (x, y, w, h) => [x - w / 2, y - h / 2, x + w / 2, y + h / 2];

  function offsets(kind, way, per) {
    if (kind !== "pipe" && kind !== "source") return [[0, 0]];
    return (kind === "source" ? [11, 26, 42] : [5]).flatMap((gap) => {
      const across = (way.width / 2 + gap) * per, up = (way.height / 2 + gap) * per;
      return [
        [across, 0], [-across, 0], [0, -up], [0, up],
        [across, -up], [across, up], [-across, -up], [-across, up],
      ];
    });
  }

  function fits(entry, box) {
    if (entry.label.kind !== "paddock") return true;
    const [left, top, right, bottom] = box, middle = (left + right) / 2;
    return [[left, top], [right, top], [left, bottom], [right, bottom], [middle, top], [middle, bottom]]
      .every(([x, y]) => entry.shape.isPointInFill(new DOMPoint(x, y)));
  }

  function nameAll(per, frame) {
    const taken = symbols.filter((s) => !s.layer.classList.contains("off")).map((s) =>
      boxAt(s.x + s.aside[0] * per, s.y + s.aside[1] * per, 2 * s.radius * per, 2 * s.radius * per));
    const seen = run.filter(([x, y]) => x > frame[0] && x < frame[2] && y > frame[1] && y < frame[3]);
    const onPipe = !chart.querySelector("[data-layer=pipes]").classList.contains("off");
    const shown = (kind) => kind === "source"
      || !chart.querySelector(`[data-layer=${kind}s]`)?.classList.contains("off");
    for (const entry of texts) {
      for (const way of entry.ways) if (way.text) way.text.style.display = "none";
      if (!shown(entry.label.kind)) continue;
      place(entry, per, frame, taken, onPipe ? seen : []);
    }
  }

  function place(entry, per, frame, taken, pipe) {
    const strict = entry.label.kind === "paddock" ? [true, false] : [true];
    for (const clear of strict) {
      for (const made of entry.ways) {
        const way = measure(entry, made);
        for (const spot of entry.label.places) {
          for (const offset of offsets(entry.label.kind, way, per)) {
            const x = spot[0] + offset[0], y = spot[1] + offset[1];
            const box = boxAt(x, y, way.width * per, way.height * per);
            if (box[0] < frame[0] || box[1] < frame[1] || box[2] > frame[2] || box[3] > frame[3]) continue;
            if (taken.some((other) => hits(box, other)) || !fits(entry, box)) continue;
            if (clear && pipe.some(([a, b]) => a > box[0] && a < box[2] && b > box[1] && b < box[3])) continue;
            way.text.setAttribute("transform", `translate(${x} ${y}) scale(${per})`);
            way.text.style.display = "";
            taken.push(box);
            return;
          }
        }
      }
    }
  }

  function nameSoon() {
    // While the map moves, names move with it; they are laid out anew once it rests.
    for (const text of names.children) {
      const at = text.getAttribute("transform");
      if (at) text.setAttribute("transform", at.replace(/scale\(.*\)/, `scale(${metresPerPixel() * shrunk()})`));
    }
    clearTimeout(waiting);
    waiting = setTimeout(nameNow, 60);
  }

  function nameNow() {
    const left = -view.x / view.k, top = -view.y / view.k;
    nameAll(
      metresPerPixel() * shrunk(),
      [left, top, left + data.width / view.k, top + data.height / view.k],
    );
  }

  // --- Paper: the whole map, with smaller signs and names --------------------------------------

  const PAPER = 672;
  function toPaper() {
    clearTimeout(waiting);
    const per = data.width / PAPER;
    nameAll(per * 0.8, [0, 0, data.width, data.height]);
    byId("hatch").setAttribute("patternTransform", `scale(${per}) rotate(45)`);
    scaleBar(per);
  }
  addEventListener("beforeprint", toPaper);
  addEventListener("afterprint", () => show());

  new ResizeObserver(() => { width = chart.clientWidth || width; show(); }).observe(chart);
  if (document.fonts) document.fonts.ready.then(() => show());
  show();
})();
