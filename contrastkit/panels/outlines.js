// The photograph with its pieces: outlines to point at and correct, missed ones to draw, a place to point at.
// Corners are [row, column] in pixels of the full photograph; a pixel's middle is a whole number.

const STYLE = `
.ck-board-tools { display: flex; flex-wrap: wrap; align-items: center; gap: 8px; margin: 0 0 8px; }
.ck-board-tools p { flex: 1 1 240px; margin: 0; color: var(--ck-quiet); }
.ck-board-frame { overflow: auto; max-width: 100%; background: var(--ck-raised); overscroll-behavior: contain; }
.ck-board-stage { position: relative; }
.ck-board-stage img { display: block; width: 100%; height: 100%; user-select: none; -webkit-user-drag: none; }
.ck-board-stage svg { position: absolute; inset: 0; width: 100%; height: 100%; overflow: visible; }
.ck-board polygon, .ck-board polyline, .ck-board path { vector-effect: non-scaling-stroke; fill: none; stroke-linejoin: round; pointer-events: none; }
.ck-board .ck-halo { stroke: #111; stroke-width: 5; }
.ck-board .ck-line { stroke: #fff; stroke-width: 2; }
.ck-board .ck-hit { pointer-events: all; fill: transparent; }
.ck-board .ck-dashed { stroke-dasharray: 7 5; }
.ck-board .ck-piece { cursor: pointer; outline: none; }
.ck-board .ck-piece[aria-pressed="true"] .ck-halo { stroke-width: 9; }
.ck-board .ck-piece[aria-pressed="true"] .ck-line { stroke-width: 4; }
.ck-board .ck-piece:focus-visible .ck-halo { stroke-width: 13; }
.ck-board .ck-piece:focus-visible .ck-line { stroke-width: 7; }
.ck-board text { fill: #fff; stroke: #111; paint-order: stroke; stroke-linejoin: round; font-weight: 700; text-anchor: middle; pointer-events: none; }
.ck-board .ck-corner { cursor: move; outline: none; }
.ck-board .ck-corner circle { vector-effect: non-scaling-stroke; }
.ck-board .ck-grip { fill: #fff; stroke: #111; stroke-width: 2; pointer-events: none; }
.ck-board .ck-corner:focus-visible .ck-grip { fill: #111; stroke: #fff; stroke-width: 4; }
.ck-board .ck-reach { fill: transparent; pointer-events: all; }
.ck-board .ck-between { fill: #111; stroke: #fff; stroke-width: 1.5; pointer-events: none; }
.ck-board .ck-cross { outline: none; pointer-events: none; }
.ck-board[data-task="draw"] svg, .ck-board[data-task="point"] svg { cursor: crosshair; }
.ck-board[data-task="draw"] .ck-piece, .ck-board[data-task="point"] .ck-piece { cursor: crosshair; }
`;
const ZOOMS = [1, 1.5, 2, 3, 4, 6, 8];
const TASKS = {
  look: "Point at a piece; drag its corners to the cut edge. With keys: Tab to a piece, Enter, then arrows move a corner.",
  draw: "Set three or more corners round the piece, in order; then close the outline. With keys: arrows move the cross, Space sets a corner, Enter closes.",
  point: "Point at the middle of the grey card. With keys: arrows move the cross, Enter points.",
};

const points = (corners) => corners.map(([row, col]) => `${col},${row}`).join(" ");
const middle = (corners) => [0, 1].map((axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length);
const tenth = (value) => Math.round(value * 10) / 10;
const STEPS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

function render({ model, el }) {
  begin(el, "board", STYLE);
  const button = (label, act) => {
    const made = make("button", { type: "button", class: "ck-press" }, label);
    made.addEventListener("click", act);
    return made;
  };
  const closer = button("Closer", () => zoom(1)), further = button("Further", () => zoom(-1));
  const close = button("Close the outline", () => finish()), stop = button("Cancel", () => cancel());
  const hint = make("p"), told = make("p", { role: "status", "aria-live": "polite" });
  const image = make("img", { decoding: "async" });
  const svg = make("svg", { role: "group", preserveAspectRatio: "none" });
  const stage = make("div", { class: "ck-board-stage" }, image, svg);
  const frame = make("div", { class: "ck-board-frame" }, stage);
  const board = make("div", { class: "ck-board" },
    make("div", { class: "ck-board-tools" }, closer, further, close, stop, hint), frame, told);
  el.append(board);

  let at = 0, unit = 1;
  let drawn = []; // corners set so far
  let cross = [0, 0];
  let held = null; // what is being changed: { name, corners, before, corner, pointer }
  let later = 0;

  const size = () => model.get("size");
  const task = () => model.get("task");
  const pieces = () => model.get("pieces");
  const chosen = () => pieces().find((piece) => piece.name === model.get("chosen") && !piece.discarded);
  const corners_of = (piece) => (held && held.name === piece.name ? held.corners : piece.corners);
  const inside = ([row, col]) => [Math.min(Math.max(row, 0), size()[0] - 1), Math.min(Math.max(col, 0), size()[1] - 1)].map(tenth);
  const active = () => el.getRootNode().activeElement;

  function where(event) {
    const box = svg.getBoundingClientRect();
    return inside([((event.clientY - box.top) / box.height) * size()[0] - 0.5, ((event.clientX - box.left) / box.width) * size()[1] - 0.5]);
  }

  // --- the picture ---

  function load(address) {
    if (address) image.src = address;
    else image.removeAttribute("src");
    at = 0;
    held = null;
    drawn = [];
    cross = size().map((length) => Math.round(length / 2));
    lay();
  }

  function lay() {
    const [rows, cols] = size();
    image.alt = model.get("alt");
    svg.setAttribute("aria-label", model.get("label"));
    svg.setAttribute("viewBox", `-0.5 -0.5 ${Math.max(cols, 1)} ${Math.max(rows, 1)}`);
    const high = Math.max(280, Math.min(720, window.innerHeight * 0.75));
    const wide = Math.max(1, frame.parentElement.clientWidth);
    const whole = Math.min(wide, (high * cols) / Math.max(rows, 1)) || 1;
    frame.style.maxHeight = `${high + 18}px`;
    const width = Math.round(whole * ZOOMS[at]);
    stage.style.width = `${width}px`;
    stage.style.height = `${Math.round((width * rows) / Math.max(cols, 1))}px`;
    unit = cols / width;
    draw();
  }

  function zoom(step) {
    const place = (cross_shown() && cross) || (chosen() && middle(chosen().corners)) || [
      ((frame.scrollTop + frame.clientHeight / 2) / stage.clientHeight) * size()[0],
      ((frame.scrollLeft + frame.clientWidth / 2) / stage.clientWidth) * size()[1],
    ];
    at = Math.min(Math.max(at + step, 0), ZOOMS.length - 1);
    lay();
    show_place(place);
  }

  function show_place([row, col]) {
    frame.scrollTop = row / unit - frame.clientHeight / 2;
    frame.scrollLeft = col / unit - frame.clientWidth / 2;
  }

  // What the keys move must be in view.
  function follow([row, col]) {
    const margin = 40;
    for (const [along, place, extent] of [["scrollTop", row / unit, frame.clientHeight], ["scrollLeft", col / unit, frame.clientWidth]]) {
      if (place < frame[along] + margin) frame[along] = place - margin;
      else if (place > frame[along] + extent - margin) frame[along] = place - extent + margin;
    }
  }

  // --- what is drawn on it ---

  // Marks stay the same elements as long as they are there: whatever a hand or the keys are on is not taken away.
  const marks = new Map();

  function mark(key, tag, attributes, begin) {
    if (!marks.has(key)) {
      const made = make(tag, { "data-key": key });
      if (begin) begin(made);
      marks.set(key, made);
    }
    const element = marks.get(key);
    for (const [name, value] of Object.entries(attributes)) {
      if (element.getAttribute(name) !== String(value)) element.setAttribute(name, value);
    }
    return element;
  }

  function lines(key, corners, more = "", tag = "polygon") {
    return ["ck-halo", "ck-line"].map((kind) => mark(`${key} ${kind}`, tag, { class: `${kind}${more}`, points: points(corners) }));
  }

  function draw() {
    const list = [], reference = model.get("reference"), now = chosen();
    if (reference.length) list.push(...lines("reference", reference, " ck-dashed"), label("reference label", "grey reference", reference));
    for (const piece of pieces()) {
      const corners = corners_of(piece), key = `piece ${piece.name}`;
      const group = mark(key, "g", {
        class: "ck-piece", role: "button", tabindex: task() === "look" ? 0 : -1, "aria-label": piece.words,
        "aria-pressed": String(piece.name === model.get("chosen")),
      }, (made) => made.addEventListener("keydown", (event) => piece_key(event, named(piece.name))));
      arrange(group, [mark(`${key} hit`, "polygon", { class: "ck-hit", points: points(corners) }),
        ...lines(key, corners, piece.discarded ? " ck-dashed" : ""), label(`${key} label`, piece.short, corners)]);
      list.push(group);
      if (now && piece.name === now.name && task() === "look") list.push(...grips(piece, corners));
    }
    if (task() === "draw" && drawn.length) {
      list.push(...lines("drawn", drawn, "", "polyline"), ...drawn.map(([row, col], place) => mark(`drawn ${place}`, "circle",
        { class: "ck-grip", cx: col, cy: row, r: 6 * unit })));
    }
    if (cross_shown()) list.push(cross_mark());
    const had = active();
    arrange(svg, list);
    for (const [key, element] of marks) if (!svg.contains(element)) marks.delete(key);
    if (had && svg !== had && !svg.contains(had) && active() !== had) lost(had);
    dress();
  }

  // What the keys were on is no more: they go to what is nearest to it.
  function lost(had) {
    if (!had.getAttribute || !String(had.getAttribute("data-key")).startsWith("corner ")) return;
    const next = svg.querySelector(".ck-corner") || svg.querySelector(`[aria-pressed="true"]`);
    if (next) next.focus({ preventScroll: true });
  }

  function arrange(parent, list) {
    const stay = new Set(list);
    for (const element of [...parent.childNodes]) if (!stay.has(element)) element.remove();
    list.forEach((element, place) => {
      if (parent.childNodes[place] !== element) parent.insertBefore(element, parent.childNodes[place] || null);
    });
  }

  const named = (name) => pieces().find((piece) => piece.name === name);

  function label(key, words, corners) {
    const rows = corners.map(([row]) => row), top = Math.min(...rows), bottom = Math.max(...rows);
    const above = top - 8 * unit > 16 * unit;
    const text = mark(key, "text", { x: middle(corners)[1], y: above ? top - 8 * unit : bottom + 20 * unit,
      "font-size": (stage.clientWidth < 500 ? 13 : 15) * unit, "stroke-width": 4 * unit });
    if (text.textContent !== words) text.textContent = words;
    return text;
  }

  function grips(piece, corners) {
    const list = [];
    corners.forEach(([row, col], place) => {
      const next = corners[(place + 1) % corners.length];
      if (Math.hypot(next[0] - row, next[1] - col) / unit > 90) {
        list.push(mark(`between ${place}`, "circle", { class: "ck-between", cx: (col + next[1]) / 2, cy: (row + next[0]) / 2, r: 4 * unit }));
      }
    });
    corners.forEach(([row, col], place) => {
      const key = `corner ${place} of ${piece.name}`;
      const grip = mark(key, "g", {
        class: "ck-corner", role: "button", tabindex: 0,
        "aria-label": `Corner ${place + 1} of ${corners.length} of ${piece.name}, row ${Math.round(row)}, column ${Math.round(col)}. ` +
          "Arrow keys move it, with Shift by ten; plus adds a corner, Backspace takes it away, Enter is done, Escape cancels.",
      }, (made) => made.addEventListener("keydown", (event) => { if (chosen()) corner_key(event, chosen(), place); }));
      arrange(grip, [mark(`${key} reach`, "circle", { class: "ck-reach", cx: col, cy: row, r: 22 * unit }),
        mark(`${key} grip`, "circle", { class: "ck-grip", cx: col, cy: row, r: 7 * unit })]);
      list.push(grip);
    });
    return list;
  }

  const cross_shown = () => task() !== "look";

  function cross_mark() {
    const [row, col] = cross, arm = 16 * unit, gap = 4 * unit;
    const path = `M${col - arm},${row}H${col - gap}M${col + gap},${row}H${col + arm}M${col},${row - arm}V${row - gap}M${col},${row + gap}V${row + arm}`;
    const group = mark("cross", "g", { class: "ck-cross", role: "button", tabindex: 0,
      "aria-label": `Cross at row ${Math.round(row)}, column ${Math.round(col)}. ${TASKS[task()]}` },
    (made) => made.addEventListener("keydown", cross_key));
    arrange(group, ["ck-halo", "ck-line"].map((kind) => mark(`cross ${kind}`, "path", { class: kind, d: path })));
    return group;
  }

  function dress() {
    board.dataset.task = task();
    hint.textContent = window.matchMedia("(pointer: coarse)").matches ? TASKS[task()].split(" With keys")[0] : TASKS[task()];
    close.hidden = task() !== "draw";
    close.disabled = drawn.length < 3;
    stop.hidden = task() === "look";
    closer.disabled = at === ZOOMS.length - 1;
    further.disabled = at === 0;
  }

  // --- what the hand does ---

  function choose(name) {
    if (model.get("chosen") !== name) model.send({ chose: name });
  }

  function take_up(piece, corner) {
    if (!held || held.name !== piece.name) held = { name: piece.name, corners: piece.corners.map((each) => [...each]), before: piece.corners };
    held.corner = corner;
    return held;
  }

  function wait() {
    clearTimeout(later);
    later = 0;
  }

  function commit() {
    wait();
    if (!held) return;
    const piece = pieces().find((each) => each.name === held.name);
    if (piece && JSON.stringify(piece.corners) !== JSON.stringify(held.corners)) model.send({ moved: held.name, corners: held.corners });
  }

  function put(corner, place) {
    held.corners[corner] = inside(place);
    draw();
  }

  function piece_key(event, piece) {
    if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      choose(piece.name);
      enter = event.key === "Enter" && !piece.discarded ? piece.name : null;
      into_corners();
    } else if (event.key === "Delete") {
      event.preventDefault();
      model.send({ discarded: piece.name });
    } else if (event.key === "Escape") choose("");
  }

  let enter = null; // the piece whose corners the keys go to as soon as they are there
  function into_corners() {
    if (!enter || model.get("chosen") !== enter) return;
    const grip = svg.querySelector(".ck-corner");
    if (!grip) return;
    enter = null;
    held = null;
    grip.focus();
    follow(chosen().corners[0]);
  }

  function corner_key(event, piece, place) {
    const step = STEPS[event.key];
    if (step) {
      take_up(piece, place);
      const far = event.shiftKey ? 10 : 1, [row, col] = held.corners[place];
      put(place, [row + step[0] * far, col + step[1] * far]);
      follow(held.corners[place]);
      clearTimeout(later);
      later = setTimeout(commit, 300);
    } else if (event.key === "Enter") {
      commit();
      back_to(piece.name);
    } else if (event.key === "Escape") {
      wait();
      const before = held && held.name === piece.name ? held.before : null;
      held = null;
      if (before && JSON.stringify(before) !== JSON.stringify(piece.corners)) model.send({ moved: piece.name, corners: before });
      draw();
      back_to(piece.name);
    } else if (event.key === "Delete") {
      wait();
      held = null;
      model.send({ discarded: piece.name });
      back_to(piece.name);
    } else if (event.key === "+" || event.key === "Insert") {
      take_up(piece, place);
      insert(place);
      commit();
    } else if (event.key === "Backspace" && piece.corners.length > 3) {
      take_up(piece, place);
      held.corners.splice(place, 1);
      commit();
      draw();
      svg.querySelector(".ck-corner").focus();
    } else return;
    event.preventDefault();
    event.stopPropagation();
  }

  function insert(place) {
    const corner = held.corners[place], next = held.corners[(place + 1) % held.corners.length];
    held.corners.splice(place + 1, 0, inside([(corner[0] + next[0]) / 2, (corner[1] + next[1]) / 2]));
    held.corner = place + 1;
    draw();
  }

  function back_to(name) {
    held = null;
    const group = marks.get(`piece ${name}`);
    if (group) group.focus();
  }

  function cross_key(event) {
    const step = STEPS[event.key];
    if (step) {
      const far = (event.shiftKey ? 2 : 20) * unit;
      cross = inside([cross[0] + step[0] * far, cross[1] + step[1] * far]);
      draw();
      follow(cross);
    } else if (event.key === " " && task() === "draw") set_corner(cross);
    else if (event.key === "Enter" || event.key === " ") finish();
    else if (event.key === "Backspace" && drawn.length) { drawn = drawn.slice(0, -1); draw(); }
    else if (event.key === "Escape") cancel();
    else return;
    event.preventDefault();
    event.stopPropagation();
  }

  function set_corner(place) {
    drawn = [...drawn, inside(place)];
    told.textContent = `${drawn.length} ${drawn.length === 1 ? "corner" : "corners"} set.`;
    draw();
  }

  function finish() {
    if (task() === "point") {
      model.send({ pointed: cross });
    } else if (drawn.length >= 3) {
      model.send({ drawn });
      drawn = [];
    } else told.textContent = "An outline needs three corners or more.";
  }

  function cancel() {
    drawn = [];
    told.textContent = "";
    model.send({ task: "look" });
  }

  // Of the chosen piece: the corner under the hand, or the middle of a side, where a new one begins.
  function grip_at(event) {
    const piece = chosen();
    if (!piece || task() !== "look") return null;
    const place = where(event), reach = (event.pointerType === "mouse" ? 12 : 24) * unit;
    const corners = corners_of(piece);
    const away = (corner) => Math.hypot(corner[0] - place[0], corner[1] - place[1]);
    const nearest = corners.map(away).reduce((best, value, index, all) => (value < all[best] ? index : best), 0);
    if (away(corners[nearest]) <= reach) return { piece, corner: nearest };
    for (let index = 0; index < corners.length; index += 1) {
      const next = corners[(index + 1) % corners.length];
      const half = [(corners[index][0] + next[0]) / 2, (corners[index][1] + next[1]) / 2];
      if (Math.hypot(next[0] - corners[index][0], next[1] - corners[index][1]) / unit > 90 && away(half) <= reach * 0.7) {
        return { piece, corner: index, fresh: true };
      }
    }
    return null;
  }

  svg.addEventListener("pointerdown", (event) => {
    if (event.button > 0) return;
    const grip = grip_at(event);
    if (!grip) return;
    event.preventDefault();
    held = null;
    take_up(grip.piece, grip.corner);
    const begun = { x: event.clientX, y: event.clientY };
    let moved = false;
    const slide = (event2) => {
      if (!moved && Math.hypot(event2.clientX - begun.x, event2.clientY - begun.y) < 3) return;
      if (!moved && grip.fresh) insert(grip.corner);
      moved = true;
      put(held.corner, where(event2));
    };
    const end = (kept) => {
      svg.removeEventListener("pointermove", slide);
      svg.removeEventListener("pointerup", let_go);
      svg.removeEventListener("pointercancel", drop);
      window.removeEventListener("keydown", key, true);
      if (kept && moved) commit();
      else held = null;
      draw();
      const under = marks.get(`corner ${grip.fresh && moved ? grip.corner + 1 : grip.corner} of ${grip.piece.name}`);
      if (under) under.focus({ preventScroll: true });
    };
    const let_go = () => end(true), drop = () => end(false);
    const key = (event2) => { if (event2.key === "Escape") { event2.stopPropagation(); end(false); } };
    try { svg.setPointerCapture(event.pointerId); } catch { /* made by a test, not by a hand */ }
    svg.addEventListener("pointermove", slide);
    svg.addEventListener("pointerup", let_go);
    svg.addEventListener("pointercancel", drop);
    window.addEventListener("keydown", key, true);
  });

  // A finger on a corner drags it; the page would scroll, since styles of marks say nothing about touch.
  svg.addEventListener("touchstart", (event) => {
    const [finger] = event.touches;
    if (event.touches.length === 1 && grip_at({ clientX: finger.clientX, clientY: finger.clientY, pointerType: "touch" })) {
      event.preventDefault();
    }
  }, { passive: false });

  svg.addEventListener("click", (event) => {
    if (task() !== "look") {
      cross = where(event);
      const first = drawn[0];
      if (task() === "point") finish();
      else if (drawn.length >= 3 && Math.hypot(first[0] - cross[0], first[1] - cross[1]) < 14 * unit) finish();
      else set_corner(cross);
      return;
    }
    const group = event.target.closest(".ck-piece");
    if (group) {
      choose(group.getAttribute("data-key").slice("piece ".length));
      group.focus({ preventScroll: true });
    }
  });

  function renewed() {
    const piece = held && pieces().find((each) => each.name === held.name);
    if (held && piece && later) { /* keys are still moving it: what they say comes next */ }
    else if (held && piece) held = { ...held, corners: piece.corners.map((each) => [...each]) };
    else held = null;
    draw();
    into_corners();
  }

  function another_task() {
    drawn = [];
    told.textContent = "";
    if (cross_shown()) {
      cross = [((frame.scrollTop + frame.clientHeight / 2) / Math.max(stage.clientHeight, 1)) * size()[0],
        ((frame.scrollLeft + frame.clientWidth / 2) / Math.max(stage.clientWidth, 1)) * size()[1]];
      cross = inside(cross);
    }
    draw();
    if (!marks.has("cross")) return;
    frame.scrollIntoView({ block: "nearest" });
    marks.get("cross").focus({ preventScroll: true });
  }

  const gone = addressed(model, "photo", () => "image/jpeg", load);
  for (const name of ["size", "alt", "label"]) model.on(`change:${name}`, lay);
  for (const name of ["pieces", "reference", "turn"]) model.on(`change:${name}`, renewed);
  model.on("change:chosen", () => { if (held && held.name !== model.get("chosen")) held = null; draw(); into_corners(); });
  model.on("change:task", another_task);
  const seen = new ResizeObserver(() => lay());
  seen.observe(board);
  return () => {
    seen.disconnect();
    clearTimeout(later);
    gone();
  };
}

export default { render };
