// Pieces to tap, and the stacks they are laid on: pictures, layers, staircases of value, and what would be better.

const STYLE = `
.ck-table-part { display: flex; flex-direction: column; }
.ck-table-stacks { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(var(--ck-table-least, 250px), 100%), 1fr)); gap: 20px 16px; }
.ck-table-stack { min-width: 0; padding-top: 6px; border-top: 3px solid transparent; container-type: inline-size; }
.ck-table-stack[data-at="true"] { border-top-color: var(--ck-text); }
.ck-table-stack h4 { margin: 0 0 6px; }
.ck .ck-table-stack h4 button { min-height: 44px; padding: 4px 12px; }
.ck-table-parts { display: grid; grid-template-columns: minmax(0, 1fr); gap: 12px 20px; align-items: start; }
@container (min-width: 700px) { .ck-table-parts { grid-template-columns: minmax(0, 400px) minmax(220px, 1fr); } }
.ck-table-picture img { display: block; max-width: 100%; height: auto; }
.ck-table-small { display: flex; gap: 12px; align-items: center; margin-top: 10px; }
.ck-table-small > div { padding: 14px; background: var(--ck-table-surround); flex: none; }
.ck-table-small img { display: block; }
.ck-table-small p { margin: 0; font-size: .9375rem; color: var(--ck-quiet); }
.ck-table-layers { list-style: none; margin: 0; padding: 0; border: 1px solid var(--ck-line); }
.ck-table-layers li { margin: 0; padding: 0; }
.ck-table-layers li + li { border-top: 1px solid var(--ck-line); }
.ck .ck-table-layers button { display: flex; width: 100%; justify-content: flex-start; gap: 10px; text-align: left; padding: 6px 8px;
  border: 0; background: transparent; }
.ck .ck-table-layers button[aria-pressed="true"] { box-shadow: inset 6px 0 0 var(--ck-text); padding-left: 16px; background: var(--ck-raised); }
.ck-table-chip { flex: none; width: 44px; height: 44px; background-repeat: no-repeat; }
.ck-table-layers span b { display: block; }
.ck-table-layers .ck-table-step { display: block; }
.ck-table-layers .ck-table-weakest { font-weight: 700; text-decoration: underline; text-underline-offset: 3px; }
.ck-table-tools { display: flex; flex-wrap: wrap; gap: 8px; margin: 8px 0 0; align-items: center; }
.ck-table-tools p { flex: 1 1 100%; margin: 0; }
.ck-table-stairs { display: block; width: 100%; height: auto; max-width: 400px; margin-top: 10px; }
.ck-table-figure { paint-order: stroke; stroke: var(--ck-page); stroke-width: 4px; stroke-linejoin: round; }
.ck-table-sentences { margin: 8px 0 0; padding: 0 0 0 1.2em; }
.ck-table-sentences li { margin: 0 0 .3em; }
.ck-table-better { margin: 16px 0 0; padding: 8px 16px 12px; border: 1px solid var(--ck-edge); }
.ck-table-offer, .ck-table-group > div { display: flex; flex-wrap: wrap; gap: 6px; padding: 8px; background: var(--ck-table-surround); }
.ck .ck-table-offer button, .ck .ck-table-group button { position: relative; width: 56px; height: 72px; min-width: 0; min-height: 0; padding: 0;
  display: flex; flex-flow: column; justify-content: flex-start; align-items: center; border: 0; background: transparent; color: var(--ck-table-ink); }
.ck .ck-table-group button:hover, .ck .ck-table-offer button:hover { text-decoration: none; outline: 2px solid var(--ck-table-ink); outline-offset: 1px; }
.ck .ck-table-group button:focus-visible, .ck .ck-table-offer button:focus-visible { outline: 3px solid var(--ck-table-ink); outline-offset: 2px; }
.ck-table-face { width: 52px; height: 52px; background-repeat: no-repeat; flex: none; }
.ck-table-level { font-size: .875rem; line-height: 1.2; margin-top: 3px; }
.ck .ck-table-group button[aria-pressed="true"] .ck-table-face { box-shadow: 0 0 0 1px var(--ck-table-surround), 0 0 0 3px var(--ck-table-ink); }
.ck-table-badge { position: absolute; left: 2px; top: 0; min-width: 20px; padding: 0 4px; background: var(--ck-table-ink); color: var(--ck-table-surround);
  font-weight: 700; font-size: .875rem; line-height: 20px; text-align: center; }
.ck-table-pick { position: absolute; right: 2px; top: 0; width: 16px; height: 16px; border: 4px solid var(--ck-table-ink); background: var(--ck-table-surround); }
.ck-table-tray { margin-top: 20px; max-height: 372px; overflow: auto; border: 1px solid var(--ck-line); }
.ck-table-part[data-empty="true"] .ck-table-tray { margin-top: 0; max-height: none; }
.ck-table-part[data-empty="true"] .ck-table-stacks { display: none; }
/* On a narrow page the pile is where the hand needs it: in view together with the stack. */
@container (max-width: 620px) { .ck-table-tray { order: -1; max-height: 250px; margin: 0 0 16px; } }
.ck-table-group h4 { display: flex; gap: 8px; align-items: baseline; margin: 0; padding: 6px 8px; position: sticky; top: 0; z-index: 2;
  background: var(--ck-page); }
.ck-table-bars { height: .72em; }
`;

// One bar for the darkest group, two for the next, and so on: it survives a copier.
function bars(count) {
  const drawn = make("svg", { class: "ck-table-bars", viewBox: `0 0 ${count * 5 - 2} 10`, "aria-hidden": "true" });
  for (let at = 0; at < count; at += 1) drawn.append(make("rect", { x: at * 5, y: 0, width: 3, height: 10, fill: "currentColor" }));
  return drawn;
}

// A staircase of value: treads at their lightness from the bottom layer up, steps between them, rims as thin treads.
function staircase(told, wide) {
  const last = [], foot = 126, top = 18, across = told.treads.length;
  const tread = Math.min(72, (wide - 44) / (across + 0.9 * (across - 1))), between = tread * 0.9;
  const up = (level) => foot - (Math.min(Math.max(level, 0), 100) / 100) * (foot - top);
  const left = (place) => 44 + place * (tread + between);
  const svg = make("svg", { class: "ck-table-stairs", viewBox: `0 0 ${wide} 168`, "aria-hidden": "true", fill: "currentColor" });
  for (const level of [0, 50, 100]) {
    svg.append(make("text", { x: 30, y: up(level) + 5, "font-size": 14, "text-anchor": "end" }, String(level)));
    svg.append(make("line", { x1: 33, x2: 38, y1: up(level), y2: up(level), stroke: "currentColor" }));
  }
  svg.append(make("line", { x1: 38, x2: wide, y1: foot, y2: foot, stroke: "currentColor" }));
  told.treads.forEach((each, place) => {
    const y = up(each.level), middle = left(place) + tread / 2;
    svg.append(make("rect", { x: left(place), y, width: tread, height: Math.max(foot - y, 1), fill: each.grey, stroke: "currentColor" }));
    svg.append(make("text", { x: middle, y: foot + 18, "font-size": 16, "text-anchor": "middle" }, each.level.toFixed(0)));
    if (tread + between > 76) svg.append(make("text", { x: middle, y: foot + 36, "font-size": 15, "text-anchor": "middle" }, each.role));
  });
  told.seams.forEach((seam, place) => {
    const start = left(place) + tread, end = left(place + 1), x = start + between * 0.12, thick = seam.weakest ? 4 : 2;
    if (seam.rim !== null && across < 6) {
      const rim = Math.min(9, between * 0.2), y = up(seam.rim);
      svg.append(make("rect", { x: end - rim, y, width: rim, height: Math.max(foot - y, 1), fill: seam.rim_grey, stroke: "currentColor" }));
    }
    svg.append(make("path", { d: `M${start} ${up(seam.low)}H${x}V${up(seam.high)}`, stroke: "currentColor", "stroke-width": thick, fill: "none" }));
    svg.append(make("line", { x1: x, x2: end, y1: up(seam.high), y2: up(seam.high), stroke: "currentColor", "stroke-dasharray": "3 3" }));
    if (seam.sigma) {
      const [low, high] = [up(seam.high - seam.sigma), up(seam.high + seam.sigma)];
      svg.append(make("path", { d: `M${x - 4} ${low}H${x + 4}M${x} ${low}V${high}M${x - 4} ${high}H${x + 4}`, stroke: "currentColor", fill: "none" }));
    }
    const bold = seam.weakest ? 700 : 400, y = Math.min(Math.max((up(seam.low) + up(seam.high)) / 2 + 5, top + 10), foot - 22);
    last.push(make("text", { x: x + 6, y, "font-size": 16, "font-weight": bold, class: "ck-table-figure" }, seam.step));
    if (between > 40) last.push(make("text", { x: x + 6, y: y + 16, "font-size": 14, "font-weight": bold, class: "ck-table-figure" }, seam.verdict));
  });
  svg.append(...last); // figures over all lines
  return svg;
}

function render({ model, el }) {
  begin(el, "table", STYLE);
  const stacks = make("div", { class: "ck-table-stacks" });
  const said = make("div"); // of the seams of the stack at hand, where several stand too narrow for it
  const better = make("section", { class: "ck-table-better" });
  const tray = make("div", { class: "ck-table-tray", role: "group", "aria-label": "The pile, dark to light: tap a piece to lay it" });
  el.append(stacks, said, better, tray);
  const addresses = new Map(); // of pictures by their place in `pictures`
  let sheet = "", faces = new Map(), sections = [];

  const send = (content) => model.send(content);

  function paintSheet() {
    if (sheet) URL.revokeObjectURL(sheet);
    const data = model.get("sheet");
    sheet = data.byteLength ? URL.createObjectURL(new Blob([data], { type: "image/jpeg" })) : "";
  }

  function face(name, wide, className) {
    const piece = faces.get(name), shown = make("span", { class: className, "aria-hidden": "true" });
    if (piece && piece.at.length && sheet) {
      const scale = wide / model.get("side"), [across, down] = model.get("sheet_size");
      shown.style.backgroundImage = `url("${sheet}")`;
      shown.style.backgroundSize = `${across * scale}px ${down * scale}px`;
      shown.style.backgroundPosition = `${-piece.at[0] * scale}px ${-piece.at[1] * scale}px`;
    } else shown.style.backgroundColor = piece ? piece.grey : "transparent";
    return shown;
  }

  // --- the pile ---

  function paintTray() {
    const kept = tray.scrollTop, focused = tray.querySelector(":focus"), name = focused && focused.dataset.name;
    const pieces = model.get("tray");
    faces = new Map(pieces.map((piece) => [piece.name, piece]));
    const parts = model.get("groups").map((group, place) => {
      const own = pieces.filter((piece) => piece.group === group);
      const row = make("div");
      row.append(...own.map((piece) => pieceButton(piece, () => send({ do: "lay", name: piece.name }), 52)));
      const head = make("h4", {}, bars(place + 1), make("span", {}, `${group}, ${own.length}`));
      const part = make("div", { class: "ck-table-group" }, head);
      if (own.length) part.append(row);
      return part;
    });
    tray.replaceChildren(...parts);
    const buttons = [...tray.querySelectorAll("button")];
    buttons.forEach((button, at) => { button.tabIndex = at ? -1 : 0; });
    tray.scrollTop = kept;
    paintLying();
    if (name) roam(buttons.find((button) => button.dataset.name === name) || buttons[0]);
  }

  function pieceButton(piece, act, wide) {
    const button = make("button", { type: "button", "data-name": piece.name, title: piece.name });
    button.append(face(piece.name, wide, "ck-table-face"), make("span", { class: "ck-table-level", "aria-hidden": "true" }, piece.level.split(" ")[0]));
    button.addEventListener("click", act);
    return button;
  }

  function paintLying() {
    const lying = model.get("lying"), picked = new Set(model.get("picked")), letters = model.get("stacks").length > 1;
    const hand = new Set(((model.get("stacks")[model.get("at")] || {}).layers || []).map((layer) => layer.name));
    for (const button of tray.querySelectorAll("button")) {
      const { name } = button.dataset, piece = faces.get(name), where = lying[name] || "";
      button.querySelectorAll(".ck-table-badge, .ck-table-pick").forEach((each) => each.remove());
      if (where) button.append(make("span", { class: "ck-table-badge", "aria-hidden": "true" }, letters ? where : "✓"));
      if (picked.has(name)) button.append(make("span", { class: "ck-table-pick", "aria-hidden": "true" }));
      button.setAttribute("aria-pressed", String(hand.has(name)));
      const words = [name, `L* ${piece.level}`, piece.group];
      if (where) words.push(letters ? `lies in ${[...where].join(" and ")}` : "lies in the stack");
      if (picked.has(name)) words.push("picked");
      button.setAttribute("aria-label", words.join(", "));
    }
  }

  function roam(button) {
    if (!button) return;
    tray.querySelectorAll("button").forEach((each) => { each.tabIndex = each === button ? 0 : -1; });
    button.focus();
  }

  // Left and right follow the order of lightness; up and down go to the nearest piece of the next line.
  tray.addEventListener("keydown", (event) => {
    const buttons = [...tray.querySelectorAll("button")], at = buttons.indexOf(document.activeElement);
    if (at < 0) return;
    const to = { ArrowRight: at + 1, ArrowLeft: at - 1, Home: 0, End: buttons.length - 1 }[event.key];
    let goal = buttons[to];
    if (event.key === "ArrowDown" || event.key === "ArrowUp") goal = nextLine(buttons, at, event.key === "ArrowDown" ? 1 : -1);
    if (event.key === "Escape") send({ do: "choose", layer: -1 });
    if (!goal) return;
    event.preventDefault();
    roam(goal);
  });

  function nextLine(buttons, at, way) {
    const own = buttons[at];
    const beyond = buttons.filter((each) => (each.offsetTop - own.offsetTop) * way > 8);
    const first = beyond.length ? (way > 0 ? beyond[0] : beyond[beyond.length - 1]).offsetTop : null;
    const line = beyond.filter((each) => Math.abs(each.offsetTop - first) <= 8);
    return line.sort((a, b) => Math.abs(a.offsetLeft - own.offsetLeft) - Math.abs(b.offsetLeft - own.offsetLeft))[0];
  }

  // --- the stacks ---

  function paintStacks() {
    const focused = stacks.querySelector(":focus"), key = focused && focused.dataset.key;
    const told = model.get("stacks"), at = model.get("at");
    stacks.style.setProperty("--ck-table-least", `${[250, 280, 240, 190][told.length - 1]}px`);
    if (sections.length !== told.length) {
      sections = told.map(() => section());
      stacks.replaceChildren(...sections.map((each) => each.root));
      addresses.forEach((address) => URL.revokeObjectURL(address));
      addresses.clear();
    }
    told.forEach((each, number) => fill(sections[number], each, number, number === at, told.length > 1));
    said.replaceChildren(...(told.length > 1 && told[at].sentences.length ? [sentences(told[at])] : []));
    el.dataset.empty = String(told.length === 1 && !told[0].layers.length);
    paintPictures();
    paintLying();
    if (key) {
      const same = [...stacks.querySelectorAll("[data-key]")].find((each) => each.dataset.key === key);
      const rest = same || sections[at].root.querySelector(".ck-table-layers button") || tray.querySelector('[tabindex="0"]');
      if (rest && document.activeElement !== rest) rest.focus();
    }
  }

  function section() {
    const parts = { root: make("section", { class: "ck-table-stack" }), head: make("h4"), picture: make("img", { decoding: "async" }),
      small: make("img", { decoding: "async", alt: "" }), smallWords: make("p"), list: make("div"), below: make("div"), tools: make("div") };
    parts.smallRow = make("div", { class: "ck-table-small" }, make("div", {}, parts.small), parts.smallWords);
    const left = make("div", { class: "ck-table-picture" }, parts.picture, parts.smallRow);
    const right = make("div", {}, parts.list, parts.tools, parts.below);
    parts.root.append(parts.head, make("div", { class: "ck-table-parts" }, left, right));
    return parts;
  }

  function fill(parts, told, number, at, several) {
    parts.root.dataset.at = String(several && at);
    parts.root.setAttribute("aria-label", `Stack ${told.letter}`);
    parts.head.hidden = !several;
    const choice = make("button", { type: "button", "aria-pressed": String(at), "data-key": `stack ${number}` },
      at ? `Stack ${told.letter}, at hand` : `Take stack ${told.letter}`);
    choice.addEventListener("click", () => { if (!at) send({ do: "stack", stack: number }); });
    parts.head.replaceChildren(choice);
    parts.picture.alt = told.alt;
    parts.list.replaceChildren(...(told.layers.length ? [layerList(told, number, at)] : [make("p", {}, told.finding)]));
    parts.tools.replaceChildren(...(at && model.get("layer") >= 0 ? tools(told) : []));
    parts.below.replaceChildren(...below(told, at, several));
  }

  function layerList(told, number, at) {
    const list = make("ol", { class: "ck-table-layers", "aria-label": `Layers of stack ${told.letter}, top first` });
    told.layers.forEach((layer, place) => {
      const chosen = at && model.get("layer") === place;
      const words = make("span", {}, make("b", {}, layer.name), make("span", {}, `${layer.role}, L* ${layer.level}, ${layer.group}`));
      if (layer.step) words.append(make("span", { class: layer.weakest ? "ck-table-step ck-table-weakest" : "ck-table-step" },
        (layer.weakest ? "weakest: " : "") + layer.step));
      const button = make("button", { type: "button", "aria-pressed": String(chosen), "data-key": `${number} ${layer.name}`,
        "aria-keyshortcuts": "Alt+ArrowUp Alt+ArrowDown Delete" }, face(layer.name, 44, "ck-table-chip"), words);
      button.addEventListener("click", () => {
        if (!at) send({ do: "stack", stack: number });
        send({ do: "choose", layer: place });
      });
      button.addEventListener("keydown", (event) => keys(event, number, at, place));
      list.prepend(make("li", {}, button));
    });
    return list;
  }

  function keys(event, number, at, place) {
    const way = { ArrowUp: -1, ArrowDown: 1 }[event.key];
    if (way && event.altKey && at) send({ do: way < 0 ? "up" : "down", layer: place });
    else if (way) {
      const row = event.currentTarget.closest("li");
      const next = way < 0 ? row.previousElementSibling : row.nextElementSibling;
      if (next) next.querySelector("button").focus();
    } else if ((event.key === "Delete" || event.key === "Backspace") && at) send({ do: "lift", layer: place });
    else if (event.key === "Escape" && at) send({ do: "choose", layer: -1 });
    else return;
    event.preventDefault();
  }

  function tools(told) {
    const layer = model.get("layer"), chosen = told.layers[layer];
    if (!chosen) return [];
    const row = make("div", { class: "ck-table-tools", role: "group", "aria-label": `${chosen.name}, ${chosen.role} layer` });
    row.append(make("p", {}, `${chosen.name} is chosen: tap the piece to put in its place.`));
    const acts = [["Move up", "up", layer < told.layers.length - 1], ["Move down", "down", layer > 0], ["Lift out", "lift", true]];
    for (const [words, act, can] of acts) {
      const button = make("button", { type: "button", "data-key": act, title: { up: "Alt ↑", down: "Alt ↓", lift: "Delete" }[act] }, words);
      button.disabled = !can;
      button.addEventListener("click", () => send({ do: act, layer }));
      row.append(button);
    }
    return [row];
  }

  function below(told, at, several) {
    const parts = [];
    if (told.stairs.treads.length > 1) parts.push(staircase(told.stairs, [400, 340][model.get("stacks").length - 1] || 240));
    if (several && told.layers.length > 1) parts.push(make("p", {}, make("b", {}, told.finding)));
    if (told.sentences.length && !several) parts.push(sentences(told));
    if (told.sizes) parts.push(make("p", { class: "ck-quiet" }, `Cut ${told.sizes}${several && told.points ? `; ${told.points}` : ""}.`));
    return parts;
  }

  function sentences(told) {
    const list = make("ul", { class: "ck-table-sentences", "aria-label": "Seams, weakest first" });
    list.append(...told.sentences.map((sentence) => make("li", {}, sentence)));
    return list;
  }

  function paintPictures() {
    const data = model.get("pictures"), [side, small] = model.get("sizes");
    sections.forEach((parts, number) => {
      paint(parts.picture, data, 2 * number, side);
      paint(parts.small, data, 2 * number + 1, small);
      const has = Boolean(small) && Boolean((model.get("stacks")[number] || { layers: [] }).layers.length);
      parts.smallRow.style.display = has ? "" : "none";
      parts.smallWords.textContent = model.get("small_words");
    });
  }

  function paint(image, data, place, wide) {
    const bytes = data[place];
    image.hidden = !bytes || !bytes.byteLength;
    if (wide) Object.assign(image, { width: wide, height: wide });
    if (image.hidden || image.ckShown === bytes) return;
    const old = addresses.get(place), address = URL.createObjectURL(new Blob([bytes], { type: "image/png" }));
    addresses.set(place, address);
    image.ckShown = bytes;
    image.src = address;
    if (old) setTimeout(() => URL.revokeObjectURL(old), 1000);
  }

  // --- better ---

  function paintBetter() {
    const told = model.get("better");
    better.hidden = !told.head;
    if (!told.head) return better.replaceChildren();
    const parts = [make("h4", {}, told.head), ...told.words.map((sentence) => make("p", {}, sentence))];
    for (const remedy of told.remedies) {
      const row = make("div", { class: "ck-table-offer", role: "group", "aria-label": remedy.words });
      for (const piece of remedy.pieces) {
        const button = pieceButton(piece, () => send({ do: "swap", layer: remedy.layer, name: piece.name }), 52);
        button.setAttribute("aria-label", `${piece.name}, L* ${piece.level}: put it in as the ${remedy.role} layer`);
        row.append(button);
      }
      parts.push(make("p", {}, remedy.words), row);
    }
    return better.replaceChildren(...parts);
  }

  function paintSurround() {
    el.style.setProperty("--ck-table-surround", model.get("surround"));
    el.style.setProperty("--ck-table-ink", model.get("ink"));
  }

  // Several of them change at once; the page is painted once for all.
  let due = new Set(), waiting = false;
  function later(what) {
    due.add(what);
    if (waiting) return;
    waiting = true;
    queueMicrotask(() => {
      waiting = false;
      const now = due;
      due = new Set();
      if (now.has("sheet")) { paintSheet(); paintTray(); }
      if (now.has("surround")) paintSurround();
      if (now.has("stacks") || now.has("sheet")) paintStacks();
      else { if (now.has("pictures")) paintPictures(); if (now.has("lying")) paintLying(); }
      if (now.has("better") || now.has("sheet")) paintBetter();
    });
  }
  const names = { sheet: ["sheet", "tray", "groups"], surround: ["surround", "ink"], stacks: ["stacks", "at", "layer"],
    pictures: ["pictures", "sizes", "small_words"], lying: ["lying", "picked"], better: ["better"] };
  for (const [what, traits] of Object.entries(names)) {
    later(what);
    for (const trait of traits) model.on(`change:${trait}`, () => later(what));
  }
  return () => {
    if (sheet) URL.revokeObjectURL(sheet);
    addresses.forEach((address) => URL.revokeObjectURL(address));
  };
}

export default { render };
