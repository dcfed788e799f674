// The pile laid along its lightness, dark left, light right, none hiding another; edges between groups are dragged.

const STYLE = `
.ck-strip { position: relative; user-select: none; }
.ck-strip-bands { position: relative; height: 68px; }
.ck-strip-band { position: absolute; bottom: 2px; text-align: center; overflow: hidden; line-height: 1.2; white-space: nowrap; }
.ck-strip-band b, .ck-strip-band > span { display: block; text-overflow: ellipsis; overflow: hidden; }
.ck-strip-bars { display: inline-block; height: .72em; margin-right: .4em; vertical-align: baseline; }
.ck-strip-field { position: relative; background: var(--ck-strip-surround); }
.ck .ck-strip-field button { position: absolute; min-width: 0; min-height: 0; padding: 0; border: 0; background-color: transparent;
  background-repeat: no-repeat; }
.ck .ck-strip-field button:focus-visible { outline: 3px solid var(--ck-strip-ink); outline-offset: 1px; z-index: 3; }
.ck .ck-strip-field button[aria-pressed="true"] { box-shadow: 0 0 0 3px var(--ck-strip-surround), 0 0 0 5px var(--ck-strip-ink); z-index: 2; }
.ck-strip-doubt { position: absolute; height: 0; border-top: 2px dashed var(--ck-strip-ink); pointer-events: none; }
.ck-strip-edge { position: absolute; top: 0; width: 44px; margin-left: -22px; cursor: ew-resize; touch-action: none; z-index: 4; }
.ck-strip-edge::before { content: ""; position: absolute; left: 21px; top: 0; bottom: 30px; border-left: 2px dashed var(--ck-strip-ink); }
.ck-strip-grip { position: absolute; left: 0; bottom: -14px; width: 44px; height: 44px; display: flex; align-items: center; justify-content: center;
  background: var(--ck-text); color: var(--ck-page); font-weight: 700; font-size: .9375rem; } /* neutral: it is near the swatches */
.ck-strip-edge:focus-visible { outline: none; }
.ck-strip-edge:focus-visible .ck-strip-grip { outline: 3px solid var(--ck-accent); outline-offset: 2px; }
.ck-strip-steps { display: block; position: relative; height: 20px; margin-top: 18px; }
.ck-strip-step { position: absolute; top: 0; bottom: 0; font-size: .8125rem; line-height: 20px; text-align: center; overflow: hidden; }
.ck-strip-figures { position: relative; height: 22px; font-size: .875rem; }
.ck-strip-figures span { position: absolute; white-space: nowrap; transform: translateX(-50%); }
.ck-strip-figures span:first-child { transform: none; }
.ck-strip-figures span:last-child { transform: translateX(-100%); }
`;
const SIDES = [72, 60, 50, 42, 34, 28, 22, 17, 13];
const TALLEST = 430;

function make(tag, attributes = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...children);
  return element;
}

function styled() {
  if (document.getElementById("ck-strip-style")) return;
  const style = make("style", { id: "ck-strip-style" });
  style.textContent = STYLE;
  document.head.append(style);
}

// The lowest level on which each overlaps none laid before it; the pieces come dark to light.
function levels(pieces, side, width) {
  const ends = [];
  return pieces.map(([, lightness]) => {
    const left = across(lightness, side, width) - side / 2;
    let level = ends.findIndex((end) => end + 3 <= left);
    if (level < 0) level = ends.push(0) - 1;
    ends[level] = left + side;
    return level;
  });
}

// A piece is nowhere cut off: the ends of the scale lie half a piece inside the field.
function across(lightness, side, width) {
  return Math.min(Math.max((lightness / 100) * width, side / 2), width - side / 2);
}

function render({ model, el }) {
  styled();
  el.classList.add("ck", "ck-strip-part");
  el.setAttribute("data-lm-suppress-shortcuts", "true");
  const bands = make("div", { class: "ck-strip-bands" });
  const field = make("div", { class: "ck-strip-field", role: "group" });
  const steps = make("div", { class: "ck-strip-steps", "aria-hidden": "true" });
  const figures = make("div", { class: "ck-strip-figures", "aria-hidden": "true" });
  const frame = make("div", { class: "ck-strip" }, bands, field, steps, figures);
  el.append(frame);
  for (let lightness = 0; lightness <= 100; lightness += 10) {
    const figure = make("span", { style: `left: ${lightness}%` }, lightness ? String(lightness) : "L* 0");
    figures.append(figure);
  }
  let sheets = { colour: "", grey: "" }, edges = [], buttons = [], at = 0, dragging = false;

  function load(name) {
    const data = model.get(name), old = sheets[name];
    sheets[name] = data.byteLength ? URL.createObjectURL(new Blob([data], { type: "image/png" })) : "";
    if (old) setTimeout(() => URL.revokeObjectURL(old), 1000);
  }

  function lay() {
    const pieces = model.get("pieces"), places = model.get("places"), width = field.clientWidth;
    if (!width) return;
    let side = SIDES[SIDES.length - 1], level = [];
    for (const tried of SIDES) {
      side = tried;
      level = levels(pieces, side, width);
      if ((Math.max(0, ...level) + 1) * (side + 9) <= TALLEST) break;
    }
    const high = (Math.max(0, ...level) + 1) * (side + 9) + 42;
    field.style.height = `${Math.max(high, 120)}px`;
    const scale = side / model.get("side"), sheet = sheets[model.get("view")] || "";
    const size = model.get("sheet_size").map((length) => `${length * scale}px`).join(" ");
    const picked = new Set(model.get("picked"));
    const doubts = [];
    field.setAttribute("aria-label", model.get("label"));
    buttons = pieces.map(([name, lightness, words, doubt], place) => {
      const [x, y] = places[name] || [-9999, 0], middle = across(lightness, side, width);
      const button = make("button", { type: "button", "aria-label": words, title: words, tabindex: place === at ? 0 : -1,
        "aria-pressed": String(picked.has(name)) });
      const bottom = 36 + level[place] * (side + 9);
      Object.assign(button.style, {
        left: `${middle - side / 2}px`, bottom: `${bottom}px`, width: `${side}px`, height: `${side}px`,
        backgroundImage: sheet ? `url("${sheet}")` : "none", backgroundSize: size,
        backgroundPosition: `-${x * scale}px -${y * scale}px`,
      });
      if (!places[name]) button.style.backgroundColor = model.get("greys")[place];
      if (doubt) {
        const line = make("span", { class: "ck-strip-doubt", "aria-hidden": "true" });
        Object.assign(line.style, { left: `${middle - side / 2}px`, width: `${side}px`, bottom: `${bottom - 5}px` });
        doubts.push(line);
      }
      button.addEventListener("click", () => { at = place; model.send({ tapped: name }); });
      button.addEventListener("keydown", (event) => go(event, place));
      return button;
    });
    const had = field.contains(document.activeElement) && document.activeElement.tagName === "BUTTON";
    field.replaceChildren(...buttons, ...doubts, ...handles());
    if (had && buttons[at]) buttons[at].focus();
  }

  function go(event, place) {
    const to = { ArrowRight: place + 1, ArrowLeft: place - 1, Home: 0, End: buttons.length - 1 }[event.key];
    if (to === undefined || to < 0 || to >= buttons.length) return;
    event.preventDefault();
    buttons[at].tabIndex = -1;
    at = to;
    buttons[at].tabIndex = 0;
    buttons[at].focus();
  }

  function limits(place) {
    const gap = model.get("gap");
    return [(place ? edges[place - 1] : 0) + gap, (place + 1 < edges.length ? edges[place + 1] : 100) - gap];
  }

  function move(place, value, settled) {
    const [low, high] = limits(place);
    edges[place] = Math.round(Math.min(Math.max(value, low), high) * 2) / 2;
    draw_edges();
    draw_bands();
    model.set("moved", [place, edges[place], settled ? 1 : 0, Date.now()]);
    model.save_changes();
  }

  let grips = [];
  function handles() {
    grips = edges.map((_, place) => {
      const grip = make("div", { class: "ck-strip-edge", role: "slider", tabindex: 0, "aria-orientation": "horizontal",
        "aria-valuemin": 0, "aria-valuemax": 100 }, make("span", { class: "ck-strip-grip", "aria-hidden": "true" }));
      grip.addEventListener("keydown", (event) => {
        const by = { ArrowRight: 0.5, ArrowUp: 0.5, ArrowLeft: -0.5, ArrowDown: -0.5, PageUp: 5, PageDown: -5 }[event.key];
        if (!by) return;
        event.preventDefault();
        event.stopPropagation();
        move(place, edges[place] + by, true);
      });
      grip.addEventListener("pointerdown", (event) => {
        if (event.button > 0) return;
        event.preventDefault();
        grip.focus();
        grip.setPointerCapture(event.pointerId);
        dragging = true;
        const box = field.getBoundingClientRect();
        const value = (moved) => ((moved.clientX - box.left) / box.width) * 100;
        const slide = (moved) => move(place, value(moved), false);
        const end = (ended) => {
          grip.removeEventListener("pointermove", slide);
          grip.removeEventListener("pointerup", end);
          grip.removeEventListener("pointercancel", end);
          dragging = false;
          move(place, ended.type === "pointerup" ? value(ended) : edges[place], true);
        };
        grip.addEventListener("pointermove", slide);
        grip.addEventListener("pointerup", end);
        grip.addEventListener("pointercancel", end);
      });
      return grip;
    });
    draw_edges();
    return grips;
  }

  function draw_edges() {
    const names = model.get("groups").map(([name]) => name);
    grips.forEach((grip, place) => {
      grip.style.left = `${edges[place]}%`;
      grip.style.height = "100%";
      grip.setAttribute("aria-valuenow", edges[place]);
      grip.setAttribute("aria-valuetext", `L* ${edges[place]}`);
      grip.setAttribute("aria-label", `Edge between ${names[place]} and ${names[place + 1]}`);
      grip.firstChild.textContent = String(Math.round(edges[place] * 10) / 10);
    });
  }

  // Counts follow the hand at once; the kernel says what is borderline.
  function draw_bands() {
    const ends = [0, ...edges, 100], lightness = model.get("all");
    bands.replaceChildren(...model.get("groups").map(([name, doubtful], place) => {
      const count = lightness.filter((value) => value > ends[place] && value <= ends[place + 1]).length +
        (place === 0 ? lightness.filter((value) => value === 0).length : 0);
      const bars = make("span", { class: "ck-strip-bars", "aria-hidden": "true" });
      bars.style.width = `${0.24 + 0.46 * place}em`;
      bars.style.background = "repeating-linear-gradient(90deg, currentColor 0 .24em, transparent .24em .46em)";
      const doubts = doubtful ? `${doubtful} borderline` : "";
      const band = make("div", { class: "ck-strip-band", title: `${name}: ${count} ${doubts}` },
        make("b", {}, bars, name), make("span", {}, String(count)), make("span", { class: "ck-quiet" }, doubts));
      band.style.left = `${ends[place]}%`;
      band.style.width = `${ends[place + 1] - ends[place]}%`;
      return band;
    }));
  }

  function draw_steps() {
    steps.replaceChildren(...model.get("steps").map(([low, high, tone, ink, words]) => {
      const step = make("span", { class: "ck-strip-step" }, words);
      Object.assign(step.style, { left: `${low}%`, width: `${high - low}%`, background: tone, color: ink });
      return step;
    }));
  }

  function colours() {
    el.style.setProperty("--ck-strip-surround", model.get("surround"));
    el.style.setProperty("--ck-strip-ink", model.get("ink"));
  }

  function all() {
    if (!dragging) edges = [...model.get("edges")];
    draw_bands();
    if (dragging) draw_edges();
    else lay();
  }

  load("colour");
  load("grey");
  colours();
  draw_steps();
  all();
  for (const name of ["colour", "grey"]) model.on(`change:${name}`, () => { load(name); lay(); });
  for (const name of ["pieces", "places", "view", "picked", "greys", "label"]) model.on(`change:${name}`, lay);
  for (const name of ["edges", "groups", "all"]) model.on(`change:${name}`, all);
  for (const name of ["surround", "ink"]) model.on(`change:${name}`, colours);
  const seen = new ResizeObserver(() => lay());
  seen.observe(frame);
  return () => {
    seen.disconnect();
    Object.values(sheets).filter(Boolean).forEach((address) => URL.revokeObjectURL(address));
  };
}

export default { render };
